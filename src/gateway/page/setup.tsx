import './setup.css';
import { computed, signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import { PropFile } from './setup-file.tsx';
import { Keys } from './setup-keys.tsx';
import { LoomSection } from './setup-loom.tsx';
import { NewProp } from './setup-new.tsx';
import { Parts } from './setup-parts.tsx';
import { PictureSetUp } from './setup-picture.tsx';
import { isEmpty } from './store.ts';

/** The parts of the set-up, by the second part of the address's fragment: `#setup/parts`. */
const SECTIONS: Record<string, { label: string; Shown: FunctionComponent }> = {
  new: { label: 'New prop', Shown: NewProp },
  parts: { label: 'Parts', Shown: Parts },
  loom: { label: 'Loom', Shown: LoomSection },
  picture: { label: 'Picture', Shown: PictureSetUp },
  file: { label: 'File', Shown: PropFile },
  keys: { label: 'Keys', Shown: Keys },
};

const hash = signal(location.hash);
addEventListener('hashchange', () => {
  hash.value = location.hash;
});

const shown = computed(() => {
  const [view, section = ''] = hash.value.slice(1).split('/');
  return view === 'setup' && Object.hasOwn(SECTIONS, section) ? section : usualSection();
});

/** An empty prop begins with a new one; otherwise what is there comes first. */
function usualSection(): string {
  const [first, second] = Object.keys(SECTIONS);
  return (isEmpty.value ? first : second) ?? '';
}

/** What the prop is made of: proposed, reviewed, changed, looked up. */
export function SetUp() {
  const section = SECTIONS[shown.value];
  return (
    <div class="setup">
      <nav class="jumps" aria-label="Parts of the set-up">
        {Object.entries(SECTIONS).map(([name, { label }]) => (
          <a
            key={name}
            href={`#setup/${name}`}
            aria-current={shown.value === name ? 'page' : undefined}
          >
            {label}
          </a>
        ))}
      </nav>
      {section && <section.Shown />}
    </div>
  );
}
