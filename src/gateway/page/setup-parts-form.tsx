import { useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { Act } from './act.tsx';
import { AS_TYPED } from './as-typed.ts';
import { Select, type SelectProps } from './select.tsx';
import { busy } from './setup-parts-data.ts';

interface PartFormProps {
  /** What is filled in. */
  children: ComponentChildren;
  /** The word on the button; without one there is nothing to use yet. */
  button?: string | undefined;
  /** The button's whole name, where it says more than its label. */
  say?: string | undefined;
  primary?: boolean;
  can: boolean;
  onGo: () => void;
  /** Below it: what it means. */
  about?: ComponentChildren;
}

/** A few fields and the button that uses them; the Enter key does as well. */
export function PartForm({ children, button, say, primary, can, onGo, about }: PartFormProps) {
  return (
    <form
      class="part-field"
      onSubmit={(event) => {
        event.preventDefault();
        if (can) onGo();
      }}
    >
      {children}
      {button && (
        <Act class={primary ? 'primary' : ''} can={can} aria-label={say} onAct={onGo}>
          {button}
        </Act>
      )}
      {about}
    </form>
  );
}

interface LineProps {
  label: string;
  value: string;
  onText: (text: string) => void;
  decimal?: boolean;
  placeholder?: string | undefined;
  describedBy?: string | undefined;
}

/** A label above a line to write on. */
export function Line({ label, value, onText, decimal, placeholder, describedBy }: LineProps) {
  return (
    <label>
      {label}
      <input
        value={value}
        {...AS_TYPED}
        placeholder={placeholder}
        inputMode={decimal ? 'decimal' : undefined}
        aria-describedby={describedBy}
        onInput={(event) => onText(event.currentTarget.value)}
      />
    </label>
  );
}

/** One of a few values, by itself. */
export function Choose(props: SelectProps) {
  return (
    <div class="part-field">
      <Select {...props} />
    </div>
  );
}

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
  const typed = text.value.trim();
  return (
    <PartForm button={button} say={say} can={typed !== '' && !busy.value} onGo={() => onGo(typed)}>
      <Line
        label={label}
        value={text.value}
        onText={(next) => {
          text.value = next;
        }}
      />
    </PartForm>
  );
}
