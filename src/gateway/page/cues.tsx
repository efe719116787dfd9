import './cues.css';
import { computed, signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import { watchFile } from './cues-data.ts';
import { Desk } from './cues-desk.tsx';
import { Perform } from './cues-perform.tsx';
import { Poses } from './cues-poses.tsx';
import { Voice } from './cues-voice.tsx';

/**
 * The parts of the view, by the second part of the address's fragment: `#cues/poses`. A part that is still
 * empty has no line here.
 */
const SECTIONS: Record<string, { label: string; Shown: FunctionComponent }> = {
  desk: { label: 'Desk', Shown: Desk },
  poses: { label: 'Poses', Shown: Poses },
  perform: { label: 'Perform', Shown: Perform },
  voice: { label: 'Voice', Shown: Voice },
};

const hash = signal(location.hash);
addEventListener('hashchange', () => {
  hash.value = location.hash;
});

const shown = computed(() => {
  const [view, section = ''] = hash.value.slice(1).split('/');
  return view === 'cues' && Object.hasOwn(SECTIONS, section) ? section : 'desk';
});

watchFile();

/** Cues made by hand: the desk, poses, and what is performed. */
export function Cues() {
  const section = SECTIONS[shown.value]!;
  return (
    <div class="cues-view">
      <nav class="jumps" aria-label="Parts of the cues">
        {Object.entries(SECTIONS).map(([name, { label }]) => (
          <a
            key={name}
            href={`#cues/${name}`}
            aria-current={shown.value === name ? 'page' : undefined}
          >
            {label}
          </a>
        ))}
      </nav>
      <section.Shown />
    </div>
  );
}
