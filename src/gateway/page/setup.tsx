import './setup.css';
import { signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import { Keys } from './setup-keys.tsx';

/** The parts of the set-up, by the second part of the address's fragment: `#setup/parts`. */
const SECTIONS: Record<string, { label: string; Shown: FunctionComponent }> = {
  keys: { label: 'Keys', Shown: Keys },
};

const shown = signal(sectionOf(location.hash));
addEventListener('hashchange', () => {
  shown.value = sectionOf(location.hash);
});

function sectionOf(hash: string): string {
  const [view, section = ''] = hash.slice(1).split('/');
  return view === 'setup' && Object.hasOwn(SECTIONS, section) ? section : firstSection();
}

function firstSection(): string {
  return Object.keys(SECTIONS)[0] ?? '';
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
