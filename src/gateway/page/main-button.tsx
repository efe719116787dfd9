import { reset, wake } from './confirm.tsx';
import { useSettled } from './settled.ts';
import { ask, asks, condition, holder, holding, known } from './store.ts';
import { me } from './who.ts';

/** What leads to this button where a change needs control. */
export const FIRST_CONTROL = 'First take control, with the first button at the bottom.';

interface Act {
  label: string;
  /** Undefined where nothing is to be done but wait. */
  act?: () => void;
}

function actNow(): Act {
  if (!known.value) return { label: 'Take control' };
  if (!holding.value) {
    if (holder.value === null)
      return { label: 'Take control', act: () => void ask('lease.take', {}) };
    const asked = asks.value.includes(me.value);
    return {
      label: asked ? 'Stop asking' : 'Ask for control',
      act: () => void ask('lease.ask', { wanted: !asked }),
    };
  }
  switch (condition.value) {
    case 'stopped':
    case 'faulted':
      return { label: 'Reset', act: () => void reset() };
    case 'parked':
      return { label: 'Wake', act: () => void wake() };
    case 'waking':
      return { label: 'Waking' };
    case 'parking':
      return { label: 'Parking' };
    case 'live':
      return { label: 'Awake' };
  }
}

/**
 * The one thing that comes next: take control, wake, reset. It stays one button in one place, so that it
 * keeps the focus; a second tap on what it was before does nothing.
 */
export function MainButton() {
  const { label, act } = actNow();
  const settled = useSettled(label);
  const ready = act !== undefined && settled;
  return (
    <button
      type="button"
      class={act ? 'main-act primary' : 'main-act'}
      aria-disabled={!ready}
      onClick={() => {
        if (ready) act?.();
      }}
    >
      {label}
    </button>
  );
}
