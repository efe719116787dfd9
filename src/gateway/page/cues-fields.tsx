import { useRef } from 'preact/hooks';
import { withMinus } from '../../shared/minus.ts';
import { typedNumber } from './typed-number.ts';

interface NumberProps {
  label: string;
  value: number | undefined;
  min?: number;
  max?: number;
  whole?: boolean;
  /** It may not be left empty. */
  required?: boolean;
  /** Told once it is left, or Enter is pressed; undefined: it was left empty. */
  onSet: (value: number | undefined) => void;
}

/** A number that takes effect when it is left; what is none leaves the value as it was. */
export function NumberInput({ label, value, min, max, whole, required, onSet }: NumberProps) {
  const input = useRef<HTMLInputElement>(null);
  const shown = value === undefined ? '' : withMinus(value);
  return (
    <label class="field">
      {label}{' '}
      <input
        ref={input}
        class="number"
        inputMode={min === undefined || min < 0 ? 'text' : 'decimal'}
        autocomplete="off"
        value={shown}
        onChange={({ currentTarget }) => {
          const { value: text } = currentTarget;
          const given = text.trim() === '' ? undefined : typedNumber(text);
          const right =
            given === undefined
              ? !required
              : Number.isFinite(given) &&
                given >= (min ?? Number.NEGATIVE_INFINITY) &&
                given <= (max ?? Number.POSITIVE_INFINITY) &&
                (!whole || Number.isInteger(given));
          if (right) onSet(given);
          else currentTarget.value = shown;
        }}
      />
    </label>
  );
}
