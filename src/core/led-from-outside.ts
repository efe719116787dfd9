import { Refusal } from '../shared/errors.ts';
import type { Body } from './body.ts';
import type { CoreProp } from './core-prop.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';
import type { Performer } from './performer.ts';
import { degOf, type Servo } from './servo.ts';

/** The same refusal is in the journal no more often than this (s). */
const TELL_AGAIN_S = 1;

/** What leading channels by messages without a token needs from the core. */
export interface OutsideHost {
  readonly prop: CoreProp;
  readonly body: Body;
  readonly journal: Journal;
  readonly lease: Lease;
  readonly performer: Performer;
  readonly triggers: { readonly armed: boolean };
  /** Time of the last tick (s). */
  readonly nowS: number;
  catchUp(): void;
  mustBeLive(): void;
}

/**
 * Who has control and has let messages from outside lead servos.
 * @param by what leads, in words
 * @throws Refusal `notHolder`, `condition`
 */
export function armedHolder(core: OutsideHost, by: string): Session {
  const { holder } = core.lease;
  if (!holder || holder.unattended)
    throw new Refusal('lease.not-taken', `nobody has control, so ${by} leads nothing`);
  if (!core.triggers.armed)
    throw new Refusal(
      'trigger.not-armed',
      `${holder.client} has control and has not armed triggers and ${by}`,
    );
  core.mustBeLive();
  return holder;
}

/** The ends of what is led. */
interface Ends {
  from?: number | string | undefined;
  to?: number | string | undefined;
}

/** The angle (deg) at a share, 0 to 1, of the way between two ends; without them, of the soft limits. */
export function degAt(servo: Servo, { from, to }: Ends, share: number): number {
  const [low, high] = servo.limitsDeg;
  const fromDeg = from === undefined ? low : degOf(servo, from);
  const toDeg = to === undefined ? high : degOf(servo, to);
  // Written so that both ends are met without rounding, which might be outside the limits.
  return share === 1 ? toDeg : fromDeg + share * (toDeg - fromDeg);
}

/** Writes refusals into the journal: anybody may send, so like ones are counted in one entry, now and then. */
export class OutsideRefusals {
  readonly #core: OutsideHost;
  readonly #who: string;
  /** By what was led: the last refusal in the journal, and when (s). */
  readonly #told = new Map<string, { word: string; atS: number }>();

  constructor(core: OutsideHost, who: string) {
    this.#core = core;
    this.#who = who;
  }

  tell(what: string, { word, message, values }: Refusal, more: Record<string, unknown>): void {
    const { nowS, journal } = this.#core;
    const told = this.#told.get(what);
    if (told?.word === word && nowS < told.atS + TELL_AGAIN_S) return;
    this.#told.set(what, { word, atS: nowS });
    journal.recur(this.#who, 'refused', `${what}: ${message}`, { ...more, ...values });
  }
}
