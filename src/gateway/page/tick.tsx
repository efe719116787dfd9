import type { ComponentChildren } from 'preact';

interface TickProps {
  checked: boolean;
  onTick: (checked: boolean) => void;
  disabled?: boolean;
  children: ComponentChildren;
}

/** A box to tick, with its words. */
export function Tick({ checked, onTick, disabled, children }: TickProps) {
  return (
    <label class="check">
      <input
        type="checkbox"
        checked={checked}
        disabled={disabled}
        onChange={(event) => onTick(event.currentTarget.checked)}
      />
      {children}
    </label>
  );
}
