import type { Signal } from '@preact/signals';
import { useId, useRef } from 'preact/hooks';

const TYPING_PAUSE_MS = 150;

/** A field to search with: it asks when the typing pauses. */
export function SearchField({
  text,
  most,
  hint,
  onSearch,
}: {
  text: Signal<string>;
  /** Characters. */
  most: number;
  hint: string;
  onSearch: () => void;
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
          autocomplete="off"
          autocapitalize="off"
          spellcheck={false}
          aria-describedby={id}
          onInput={(event) => {
            text.value = event.currentTarget.value;
            clearTimeout(timer.current);
            timer.current = window.setTimeout(onSearch, TYPING_PAUSE_MS);
          }}
        />
      </label>
      <p id={id} class="hint">
        {hint}
      </p>
    </>
  );
}
