import { signal, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';

/** What the journal shows only when it is asked for; the code is fetched then. */
const happened = signal<typeof import('./happened.tsx') | undefined>(undefined);
const failed = signal(false);

async function load(): Promise<void> {
  failed.value = false;
  try {
    happened.value ??= await import('./happened.tsx');
  } catch {
    failed.value = true;
  }
}

/** Shows its content while it is open. */
export function Unfold(props: {
  summary: ComponentChildren;
  children: (code: typeof import('./happened.tsx')) => ComponentChildren;
}) {
  const open = useSignal(false);
  const code = happened.value;
  return (
    <details
      class="unfold"
      onToggle={(event) => {
        open.value = event.currentTarget.open;
        if (open.value) void load();
      }}
    >
      <summary>{props.summary}</summary>
      {open.value && code && props.children(code)}
      {open.value && !code && (
        <p class="hint" role="status">
          {failed.value ? 'It could not be loaded. Close this and open it again.' : 'Loading…'}
        </p>
      )}
    </details>
  );
}
