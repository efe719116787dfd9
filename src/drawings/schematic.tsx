import type { ComponentChildren } from 'preact';

/** A group of channels, or those of one sort that are in no group. */
export interface Box {
  title: string;
  names: readonly string[];
}

/**
 * The prop without a picture: a box for each group, and a mark for each channel.
 * @param mark what stands for a channel
 */
export function Schematic(props: {
  boxes: readonly Box[];
  mark: (name: string) => ComponentChildren;
}) {
  return (
    <div class="schematic">
      {props.boxes.map(({ title, names }) => (
        <section key={title} class="schematic-box" aria-label={title}>
          <h3>{title}</h3>
          <ul>
            {names.map((name) => (
              <li key={name}>{props.mark(name)}</li>
            ))}
          </ul>
        </section>
      ))}
    </div>
  );
}
