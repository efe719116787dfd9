import { signal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import type { Method, Params } from '../../api/methods.ts';
import type { RefusalCode } from '../../shared/refusals.ts';
import { call } from './link.ts';
import { isRefusal } from './refusal.ts';
import { ask, condition, holding, refuse, trouble } from './store.ts';

/** What a person is asked before the prop does it. */
interface Question {
  title: string;
  text: string;
  yes: string;
  act: () => void;
}

const question = signal<Question | undefined>(undefined);

/** Asks a person before something is done. */
export function askFirst(asked: Question): void {
  question.value = asked;
}

/** Wakes the prop; where the position of a servo is unknown, a person is asked first. */
export async function wake(): Promise<void> {
  await asking('wake', {}, 'wake.unknown-servos', ({ words }) => ({
    title: 'Keep hands clear',
    text: `${String(words).charAt(0).toUpperCase()}${String(words).slice(1)}.`,
    yes: 'Hands are clear: wake',
    act: () => void ask('wake', { confirm: 'unknown' }),
  }));
}

/** Ends a stop or a fault; after the stop of somebody else a person is asked first. */
export async function reset(): Promise<void> {
  await asking('reset', {}, 'reset.confirm', ({ stoppedBy }) => ({
    title: `${stoppedBy} stopped the prop`,
    text: 'See that nobody is at the prop, and why it was stopped, before you reset it.',
    yes: 'It is safe: reset',
    act: () => void ask('reset', { confirm: String(stoppedBy) }),
  }));
}

/** Does it, or asks first where the daemon refuses it with `code`. */
async function asking<M extends Method>(
  method: M,
  params: Params<M>,
  code: RefusalCode,
  make: (data: Record<string, unknown>) => Question,
): Promise<void> {
  try {
    await call(method, params);
    trouble.value = '';
  } catch (error) {
    if (isRefusal(error, code)) question.value = make(error.data ?? {});
    else refuse(error);
  }
}

/**
 * The question, above Stop and Park, which stay in reach. It goes when the prop is in another condition
 * or this page has no control any more.
 */
export function Confirm() {
  const no = useRef<HTMLButtonElement>(null);
  const asked = question.value;
  const now = condition.value;
  const mine = holding.value;
  useEffect(() => {
    question.value = undefined;
  }, [now, mine]);
  useEffect(() => {
    if (asked) no.current?.focus();
  }, [asked]);
  if (!asked) return null;
  const close = () => {
    question.value = undefined;
  };
  return (
    <div
      class="confirm"
      role="alertdialog"
      aria-labelledby="confirm-title"
      aria-describedby="confirm-text"
    >
      <h2 id="confirm-title">{asked.title}</h2>
      <p id="confirm-text">{asked.text}</p>
      <button type="button" ref={no} onClick={close}>
        Cancel
      </button>
      <button
        type="button"
        onClick={() => {
          close();
          asked.act();
        }}
      >
        {asked.yes}
      </button>
    </div>
  );
}
