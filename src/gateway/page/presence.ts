import { effect } from '@preact/signals';
import { NOT_PARKED } from '../../shared/condition-text.ts';
import { linkState } from './link.ts';
import { condition, holding, known, notParked, propName } from './store.ts';

/** The tab shows prop and condition; while in control the page asks before it goes, and the screen stays awake. */
export function watchPresence(): void {
  effect(() => {
    const lost = linkState.value === 'lost' ? 'link lost' : 'no link yet';
    const at = notParked.value === undefined ? condition.value : NOT_PARKED;
    const now = known.value && linkState.value === 'open' ? at : lost;
    document.title = propName.value ? `${now} · ${propName.value}` : 'Sinew';
  });
  addEventListener('beforeunload', (event) => {
    if (holding.peek()) event.preventDefault();
  });
  effect(() => {
    if (holding.value) void keepAwake();
    else void letSleep();
  });
  // A browser takes the lock away from a page that is hidden.
  document.addEventListener('visibilitychange', () => {
    if (!document.hidden && holding.peek()) void keepAwake();
  });
}

let lock: WakeLockSentinel | undefined;

async function keepAwake(): Promise<void> {
  if (lock && !lock.released) return;
  try {
    lock = await navigator.wakeLock?.request('screen');
  } catch {
    // Refused, such as with a low battery: the screen then sleeps as it always does.
  }
  if (!holding.peek()) await letSleep();
}

async function letSleep(): Promise<void> {
  const held = lock;
  lock = undefined;
  await held?.release();
}
