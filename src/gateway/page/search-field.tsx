import type { Signal } from '@preact/signals';
import { useId, useRef } from 'preact/hooks';
import { AS_TYPED } from './as-typed.ts';

const TYPING_PAUSE_MS = 150;

/** A field to search with; where something is asked for, that waits until the typing pauses. */
export function SearchField({
  text,
  most,
  hint,
  onSearch,
}: {
  text: Signal<string>;
  /** Characters. */
  most: number;
  hint?: string;
  /** Without it the text alone counts, at once. */
  onSearch?: () => void;
}) {
  const timer = useRef(0);
  const id = useId();
  return (
    <>
      <label class="search">
        Search
        <input
          type="search"
          value={text}
          maxLength={most}
          {...AS_TYPED}
          aria-describedby={hint && id}
          onInput={(event) => {
            text.value = event.currentTarget.value;
            clearTimeout(timer.current);
            if (onSearch) timer.current = window.setTimeout(onSearch, TYPING_PAUSE_MS);
          }}
        />
      </label>
      {hint && (
        <p id={id} class="hint">
          {hint}
        </p>
      )}
    </>
  );
}
