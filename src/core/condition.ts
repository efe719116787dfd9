import type { Condition } from '../shared/condition.ts';
import { Refusal } from '../shared/errors.ts';

/*
 * Every way in which the condition of the whole prop changes, as one table. Nothing else in the program
 * sets a condition.
 */

/**
 * What may be asked for, and what happens by itself.
 * `park away`: a park asked for, or begun by a lost link, while something is away from its park
 * position; `park at rest`: the same while everything rests there.
 */
export const EVENTS = [
  'wake',
  'awake',
  'park away',
  'park at rest',
  'at rest',
  'stop',
  'reset',
  'fault',
  'command',
] as const;
export type ConditionEvent = (typeof EVENTS)[number];

type Outcome = Condition | { refuse: string };

const no = (refuse: string): Outcome => ({ refuse });
const STOPPED = no('the prop is stopped; reset first');
const FAULTED = no('the prop is faulted; fix the cause, then reset');
const PARKING = no('the prop is parking; wait until it is parked, then wake');
const NEVER = no('this cannot happen here');

const TRANSITIONS: Record<Condition, Record<ConditionEvent, Outcome>> = {
  parked: {
    wake: 'waking',
    awake: NEVER,
    'park away': 'parking',
    'park at rest': 'parked',
    'at rest': 'parked',
    stop: 'stopped',
    reset: 'parked',
    fault: 'faulted',
    command: no('the prop is parked; wake it first'),
  },
  waking: {
    wake: 'waking',
    awake: 'live',
    'park away': 'parking',
    'park at rest': 'parking',
    'at rest': NEVER,
    stop: 'stopped',
    reset: 'waking',
    fault: 'faulted',
    command: no('the prop is still waking; wait until it is live'),
  },
  live: {
    wake: 'live',
    awake: NEVER,
    'park away': 'parking',
    'park at rest': 'parking',
    'at rest': NEVER,
    stop: 'stopped',
    reset: 'live',
    fault: 'faulted',
    command: 'live',
  },
  parking: {
    wake: PARKING,
    awake: NEVER,
    'park away': 'parking',
    'park at rest': 'parking',
    'at rest': 'parked',
    stop: 'stopped',
    reset: 'parking',
    fault: 'faulted',
    command: PARKING,
  },
  stopped: {
    wake: STOPPED,
    awake: NEVER,
    'park away': STOPPED,
    'park at rest': STOPPED,
    'at rest': NEVER,
    stop: 'stopped',
    reset: 'parked',
    fault: 'faulted',
    command: STOPPED,
  },
  faulted: {
    wake: FAULTED,
    awake: NEVER,
    'park away': FAULTED,
    'park at rest': FAULTED,
    'at rest': 'faulted',
    stop: 'faulted',
    reset: 'parked',
    fault: 'faulted',
    command: FAULTED,
  },
};

/**
 * The condition after `event`.
 * @throws Refusal of kind `condition` when the event is not allowed now; nothing has changed then.
 */
export function next(now: Condition, event: ConditionEvent): Condition {
  const outcome = TRANSITIONS[now][event];
  if (typeof outcome === 'string') return outcome;
  throw new Refusal('condition.forbids', outcome.refuse, { condition: now, event });
}
