import { useSignal } from '@preact/signals';
import { useId } from 'preact/hooks';
import { Act } from './act.tsx';
import { busy } from './setup-parts-data.ts';

/** A text and the button that uses it. */
export function Ask({
  label,
  button,
  start = '',
  onGo,
  say,
}: {
  label: string;
  button: string;
  start?: string;
  /** The button's whole name, where it says more than its label. */
  say?: string;
  onGo: (text: string) => void;
}) {
  const text = useSignal(start);
  const id = useId();
  const go = () => onGo(text.value.trim());
  return (
    <form
      class="part-field"
      onSubmit={(event) => {
        event.preventDefault();
        if (text.value.trim() && !busy.value) go();
      }}
    >
      <label for={id}>
        {label}
        <input
          id={id}
          value={text}
          autocomplete="off"
          autocapitalize="off"
          spellcheck={false}
          onInput={(event) => {
            text.value = event.currentTarget.value;
          }}
        />
      </label>
      <Act can={text.value.trim() !== '' && !busy.value} aria-label={say} onAct={go}>
        {button}
      </Act>
    </form>
  );
}

/** One of a few values. */
export function Choose({
  label,
  options,
  value,
  onChoose,
}: {
  label: string;
  options: readonly (readonly [value: string, words: string])[];
  value: string;
  onChoose: (value: string) => void;
}) {
  const id = useId();
  return (
    <div class="part-field">
      <label for={id}>
        {label}
        <select
          id={id}
          value={value}
          onChange={(event) => {
            onChoose(event.currentTarget.value);
            // What is chosen is asked about first: until then it is as it was.
            event.currentTarget.value = value;
          }}
        >
          {options.map(([one, words]) => (
            <option key={one} value={one}>
              {words}
            </option>
          ))}
        </select>
      </label>
    </div>
  );
}
