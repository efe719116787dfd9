import { useSignal } from '@preact/signals';
import { useEffect, useId, useRef } from 'preact/hooks';
import { Select } from './select.tsx';
import { apply, canWrite, type Data, isMap, learn, meanings, said } from './setup-parts-data.ts';
import { Line, PartForm } from './setup-parts-form.tsx';
import { typedNumber } from './typed-number.ts';

type Path = (string | number)[];

/** A value as a person writes it in a field. */
function shownValue(value: unknown): string {
  if (value === undefined || value === null) return '';
  return Array.isArray(value) ? JSON.stringify(value).replaceAll(',', ', ') : String(value);
}

/** What was typed, in the form of what stood there; undefined where it cannot be that. */
export function typedValue(text: string, before: unknown): { value: unknown } | undefined {
  const typed = text.trim();
  if (typed === '') return { value: undefined };
  if (typeof before === 'string') return { value: typed };
  if (typeof before === 'number') {
    const value = typedNumber(typed);
    return Number.isFinite(value) ? { value } : undefined;
  }
  if (typed === 'true' || typed === 'false') return { value: typed === 'true' };
  if (/^[[{]/.test(typed)) {
    try {
      return { value: JSON.parse(typed) };
    } catch {
      return undefined;
    }
  }
  return { value: /^[-−]?\d+(\.\d+)?$/.test(typed) ? typedNumber(typed) : typed };
}

/** Names or numbers with blanks or commas between them. */
export const typedWords = (text = '') => text.split(/[\s,]+/).filter(Boolean);

export const WRONG_PINS = 'Give pins as numbers, such as 18.';

/** Pins as they are typed: `18 23`; undefined where one is no number. */
export function typedPins(text = ''): number[] | undefined {
  const pins = typedWords(text).map(Number);
  return pins.every(Number.isInteger) ? pins : undefined;
}

interface FieldProps {
  label: string;
  /** For what is said when it is changed: `speedDegS of beak`. */
  what: string;
  path: Path;
  value: unknown;
  /** What it means. */
  about?: string | undefined;
  onText?: (text: string) => void;
  /** It cannot be left empty. */
  must?: boolean;
}

/** One value of the file, with what it means; it is written by a press, not by typing. */
export function Field({ label, what, path, value, about, onText, must = false }: FieldProps) {
  const id = useId();
  const text = useSignal(shownValue(value));
  const before = shownValue(value);
  const shown = useRef(before);
  // What the file says now takes its place; what is typed before that stays.
  useEffect(() => {
    if (shown.current === before) return;
    shown.current = before;
    text.value = before;
    onText?.(before);
  }, [before, onText, text]);
  const changed = text.value.trim() !== before.trim();
  const save = () => {
    const typed = typedValue(text.value, value);
    if (!typed) {
      said.value = `${text.value} is not a value for ${label}; write one like ${before}.`;
      return;
    }
    if (must && typed.value === undefined) {
      said.value = `${label} cannot be empty.`;
      return;
    }
    void apply(what, [{ path, ...(typed.value !== undefined && { value: typed.value }) }]);
  };
  return (
    <PartForm
      button="Save"
      say={`Save ${what}`}
      can={changed && canWrite.value}
      onGo={save}
      about={
        about && (
          <p class="hint" id={id}>
            {about}
          </p>
        )
      }
    >
      <Line
        label={label}
        value={text.value}
        decimal={typeof value === 'number'}
        describedBy={about ? id : undefined}
        onText={(next) => {
          text.value = next;
          onText?.(next);
        }}
      />
    </PartForm>
  );
}

interface FieldsProps {
  /** `beak`. */
  of: string;
  path: Path;
  data: Data;
  /** Where the key reference explains it: `channels.servo`. */
  explained: string;
  except?: readonly string[];
  onText?: (key: string, text: string) => void;
}

/** Every value of an entry, however deep, and the keys that it does not have yet. */
export function Fields({ of, path, data, explained, except = [], onText }: FieldsProps) {
  useEffect(() => void learn(explained), [explained]);
  const lines = Object.entries(data).filter(([key]) => !except.includes(key));
  return (
    <>
      {lines.map(([key, value]) => {
        const at = [...path, key];
        if (isMap(value))
          return (
            <fieldset key={key}>
              <legend>{key}</legend>
              <Fields
                of={`${key} of ${of}`}
                path={at}
                data={value}
                explained={`${explained}.${key}`}
              />
            </fieldset>
          );
        if (Array.isArray(value) && value.some(isMap)) return null;
        const info = meanings.value[`${explained}.${key}`];
        return (
          <Field
            key={key}
            label={key}
            what={`${key} of ${of}`}
            path={at}
            value={value}
            about={info?.about}
            {...(onText && { onText: (text: string) => onText(key, text) })}
          />
        );
      })}
      <MoreKeys of={of} path={path} data={data} explained={explained} except={except} />
    </>
  );
}

/** A key that the entry may have and does not have. */
function MoreKeys({ of, path, data, explained, except = [] }: FieldsProps) {
  const key = useSignal('');
  const text = useSignal('');
  const free = Object.keys(meanings.value)
    .filter((one) => one.startsWith(`${explained}.`))
    .map((one) => one.slice(explained.length + 1))
    .filter((one) => !one.includes('.') && !(one in data) && !except.includes(one));
  if (free.length === 0) return null;
  const info = meanings.value[`${explained}.${key.value}`];
  const add = () => {
    const typed = typedValue(text.value, undefined);
    if (typed?.value === undefined) {
      said.value = `Give ${key.value} a value: ${info?.form ?? 'as the key reference says'}.`;
      return;
    }
    void apply(`${key.value} of ${of}`, [{ path: [...path, key.value], value: typed.value }]).then(
      (done) => {
        if (!done) return;
        key.value = '';
        text.value = '';
      },
    );
  };
  return (
    <PartForm
      button={key.value && 'Add key'}
      can={key.value !== '' && canWrite.value}
      onGo={add}
      about={
        key.value && (
          <p class="hint">
            {info?.about} ({info?.form})
          </p>
        )
      }
    >
      <Select
        label="Another key"
        options={[['', 'choose …'], ...free]}
        value={key.value}
        onPick={(one) => {
          key.value = one;
        }}
      />
      {key.value && (
        <Line
          label="Value"
          value={text.value}
          onText={(next) => {
            text.value = next;
          }}
        />
      )}
    </PartForm>
  );
}
