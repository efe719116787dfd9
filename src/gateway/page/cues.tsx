import './cues.css';
import { useEffect } from 'preact/hooks';
import { watchFile } from './cues-data.ts';
import { Desk } from './cues-desk.tsx';
import { Perform } from './cues-perform.tsx';
import { Poses } from './cues-poses.tsx';
import { Voice } from './cues-voice.tsx';
import { type SectionList, Sections } from './sections.tsx';

/** A part that is still empty has no line here. */
const SECTIONS: SectionList = {
  desk: { label: 'Desk', Shown: Desk },
  poses: { label: 'Poses', Shown: Poses },
  perform: { label: 'Perform', Shown: Perform },
  voice: { label: 'Voice', Shown: Voice },
};

/** Cues made by hand: the desk, poses, and what is performed. */
export function Cues() {
  useEffect(watchFile, []);
  return (
    <div class="cues-view">
      <Sections view="cues" label="Parts of the cues" of={SECTIONS} usual="desk" />
    </div>
  );
}
