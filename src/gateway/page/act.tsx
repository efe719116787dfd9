import type { ComponentChildren } from 'preact';

interface ActProps {
  /** Whether it may be pressed now. */
  can: boolean;
  onAct: () => void;
  class?: string;
  'aria-label'?: string;
  'aria-describedby'?: string;
  'aria-expanded'?: boolean;
  children: ComponentChildren;
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
