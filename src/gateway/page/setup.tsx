import './setup.css';
import { type SectionList, Sections } from './sections.tsx';
import { PropFile } from './setup-file.tsx';
import { Keys } from './setup-keys.tsx';
import { LoomSection } from './setup-loom.tsx';
import { NewProp } from './setup-new.tsx';
import { Parts } from './setup-parts.tsx';
import { PictureSetUp } from './setup-picture.tsx';
import { isEmpty } from './store.ts';

const SECTIONS: SectionList = {
  new: { label: 'New prop', Shown: NewProp },
  parts: { label: 'Parts', Shown: Parts },
  loom: { label: 'Loom', Shown: LoomSection },
  picture: { label: 'Picture', Shown: PictureSetUp },
  file: { label: 'File', Shown: PropFile },
  keys: { label: 'Keys', Shown: Keys },
};

/** What the prop is made of: proposed, reviewed, changed, looked up. */
export function SetUp() {
  return (
    <div class="setup">
      {/* An empty prop begins with a new one; otherwise what is there comes first. */}
      <Sections
        view="setup"
        label="Parts of the set-up"
        of={SECTIONS}
        usual={isEmpty.value ? 'new' : 'parts'}
      />
    </div>
  );
}
