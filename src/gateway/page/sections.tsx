import { signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';

/** The parts of a view, by the second part of the address's fragment: `#setup/parts`. */
export type SectionList = Record<string, { label: string; Shown: FunctionComponent }>;

const hash = signal(location.hash);
addEventListener('hashchange', () => {
  hash.value = location.hash;
});

interface SectionsProps {
  /** The first part of the fragment. */
  view: string;
  /** What the parts are parts of, in words. */
  label: string;
  of: SectionList;
  /** The part that is shown where the address names none. */
  usual: string;
}

/** Links to the parts of a view, and the part that the address names. */
export function Sections({ view, label, of, usual }: SectionsProps) {
  const [first, second = ''] = hash.value.slice(1).split('/');
  const shown = first === view && Object.hasOwn(of, second) ? second : usual;
  const section = of[shown];
  return (
    <>
      <nav class="jumps" aria-label={label}>
        {Object.entries(of).map(([name, { label: words }]) => (
          <a
            key={name}
            href={`#${view}/${name}`}
            aria-current={shown === name ? 'page' : undefined}
          >
            {words}
          </a>
        ))}
      </nav>
      {section && <section.Shown />}
    </>
  );
}
