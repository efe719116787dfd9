import { signal } from '@preact/signals';
import type { FunctionComponent } from 'preact';
import { useEffect } from 'preact/hooks';

/** The code and the style of the view are fetched when it is first asked for. */

const loaded = signal<FunctionComponent | undefined>(undefined);
const failed = signal(false);

let loading = false;

async function load(): Promise<void> {
  if (loading || loaded.peek()) return;
  loading = true;
  failed.value = false;
  try {
    const [{ Cues }] = await Promise.all([import('./cues.tsx'), style()]);
    loaded.value = Cues;
  } catch {
    failed.value = true;
  } finally {
    loading = false;
  }
}

/** Nothing is shown before it is there: it would jump. */
function style(): Promise<void> {
  return new Promise((resolve, reject) => {
    const link = document.createElement('link');
    link.rel = 'stylesheet';
    link.href = 'cues.css';
    link.onload = () => resolve();
    link.onerror = () => {
      link.remove();
      reject(new Error('no style'));
    };
    document.head.append(link);
  });
}

/** Cues made by hand: the desk, poses, and what is performed. */
export function CuesView() {
  useEffect(() => void load(), []);
  const Shown = loaded.value;
  if (Shown) return <Shown />;
  return (
    <div role="status">
      {failed.value ? (
        <>
          <p>This view could not be loaded. Load the page again if it stays so.</p>
          <button type="button" onClick={() => void load()}>
            Try again
          </button>
        </>
      ) : (
        <p class="hint">Loading…</p>
      )}
    </div>
  );
}
