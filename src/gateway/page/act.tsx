import type { ButtonHTMLAttributes } from 'preact';

interface ActProps
  extends Omit<ButtonHTMLAttributes<HTMLButtonElement>, 'onClick' | 'disabled' | 'aria-disabled'> {
  /** Whether it may be pressed now. */
  can: boolean;
  onAct: () => void;
}

/** A button that keeps the focus while it may not be pressed: a disabled one would lose it. */
export function Act({ can, onAct, children, ...rest }: ActProps) {
  return (
    <button
      type="button"
      aria-disabled={!can}
      onClick={() => {
        if (can) onAct();
      }}
      {...rest}
    >
      {children}
    </button>
  );
}
