import { Refusal } from '../shared/errors.ts';
import { tidy } from '../shared/units.ts';
import type { Actuator } from './actuators.ts';
import type { Gate } from './gate.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';
import type { Move, Servo } from './servo.ts';

/** Targets that come later than this after the last ones (s) come too late: everything held holds still. */
export const SILENCE_S = 0.25;
/** Servos that are sent elsewhere in one tick; the others have their turn in the next ones. */
const MOST_PLANS = 4;

/** What performing needs from the core. */
interface PerformHost {
  readonly gate: Gate;
  readonly lease: Lease;
  readonly journal: Journal;
  /** Time of the last tick (s). */
  readonly nowS: number;
  readonly prop: { link: { timeoutMs: number } };
  performs(channels: ReadonlySet<Actuator>, who: string): void;
}

/** A servo that a hand leads. */
interface Held {
  servo: Servo;
  askedDeg: number;
  /** Where it was sent last (deg), and by which plan; NaN before the first. */
  sentDeg: number;
  plans: number;
  /** Why it does not go where it was asked to go. */
  refusal: Refusal | undefined;
  delayed: string | undefined;
  /** When it was last looked at whether it may (s). */
  lookedS: number;
  /** Codes of what is in the journal already, since it is held. */
  told: Set<string>;
}

/** How a servo that is performed follows. */
export interface Following {
  value: number;
  behindDeg: number;
  behindS: number;
  delayed?: string;
  refused?: { code: string; reason: string };
}

/**
 * Servos that a hand leads: a stream of targets, of which the newest counts. Each tick plans a few of them,
 * through the gate. When the stream ends, or falls silent, they decelerate and hold.
 */
export class Performer {
  readonly #core: PerformHost;
  readonly #held = new Map<Servo, Held>();
  #session: Session | undefined;
  /** When the last targets came (s). */
  #heardS = 0;
  /** Where the next tick begins to plan. */
  #turn = 0;

  constructor(core: PerformHost) {
    this.#core = core;
  }

  /** The names of what is performed now. */
  get names(): string[] {
    return [...this.#held.values()].map(({ servo }) => servo.name);
  }

  /**
   * Takes targets (deg) for all that is performed from now on: what was before, and is not among them,
   * decelerates and holds.
   * @throws Refusal `limits.outside`; nothing has changed then. What may not go there for another reason
   *   stays, and the answer says why.
   */
  perform(moves: readonly Move[], session: Session): Record<string, Following> {
    for (const { servo, targetDeg } of moves) this.#core.gate.mustBeWithin(servo, targetDeg);
    const refusals = moves.map((move) => this.#refusalOf(move));
    if (this.#session?.id !== session.id) this.forget();
    this.#session = session;
    this.#heardS = this.#core.nowS;
    const before = this.names;
    const servos = new Set(moves.map(({ servo }) => servo));
    for (const { servo } of [...this.#held.values()]) if (!servos.has(servo)) this.#letGo(servo);
    for (const [i, { servo, targetDeg }] of moves.entries())
      this.#hold(servo, targetDeg, refusals[i]);
    if (servos.size > 0) this.#core.performs(servos, session.client);
    this.#recordChange(before, session.client);
    return Object.fromEntries(moves.map(({ servo }) => [servo.name, this.#following(servo)]));
  }

  /** Why a servo may not go there now. It is looked at once in a tick, however many targets come. */
  #refusalOf(move: Move): Refusal | undefined {
    const { gate, nowS } = this.#core;
    const held = this.#held.get(move.servo);
    if (held?.lookedS === nowS) return held.refusal;
    try {
      gate.mustBeAbleToMove([move]);
      return undefined;
    } catch (error) {
      if (error instanceof Refusal) return error;
      throw error;
    }
  }

  #hold(servo: Servo, askedDeg: number, refusal: Refusal | undefined): void {
    const held = this.#held.get(servo) ?? {
      servo,
      sentDeg: Number.NaN,
      plans: -1,
      delayed: undefined,
      lookedS: this.#heardS,
      told: new Set<string>(),
      askedDeg,
      refusal,
    };
    held.askedDeg = askedDeg;
    held.refusal = refusal;
    held.lookedS = this.#heardS;
    if (refusal) this.#tell(held, refusal);
    this.#held.set(servo, held);
  }

  /** Each reason once, for as long as it is held: a stream must not flush the journal. */
  #tell({ told, servo }: Held, { word, message, values }: Refusal): void {
    if (told.has(word)) return;
    told.add(word);
    const who = this.#session?.client ?? 'prop';
    this.#core.journal.add(who, 'refused', `channel.perform: ${message}`, {
      method: 'channel.perform',
      channel: servo.name,
      ...values,
    });
  }

  #letGo(servo: Servo): void {
    const held = this.#held.get(servo);
    if (!held) return;
    this.#held.delete(servo);
    // Somebody else may have sent it elsewhere meanwhile. What waited for its rail may just have started.
    const isOurs = servo.plans === held.plans || servo.delayed || isAt(servo, held.sentDeg);
    if (!isOurs) return;
    servo.halt();
    this.#core.gate.cancel([servo]);
  }

  #recordChange(before: readonly string[], who: string): void {
    const after = this.names;
    if (before.join() === after.join()) return;
    const text = after.length > 0 ? `performs ${after.join(', ')}` : 'performs nothing any more';
    this.#core.journal.fold(who, 'channel.perform', text, { channels: after });
  }

  #following(servo: Servo): Following {
    const { askedDeg, delayed, refusal } = this.#held.get(servo)!;
    return {
      value: tidy(servo.setpoint.pos),
      behindDeg: tidy(askedDeg - servo.setpoint.pos),
      behindS: tidy(servo.leftS, 3),
      ...(servo.delayed && delayed !== undefined && { delayed }),
      ...(refusal && { refused: { code: refusal.word, reason: refusal.message } }),
    };
  }

  /**
   * A newer command has these channels now: they are led no longer, until the next target for them comes.
   * @param isSent whether that command has sent them elsewhere already; if not, they decelerate and hold
   */
  yieldTo(channels: Iterable<Actuator>, isSent: boolean): void {
    if (this.#held.size === 0) return;
    const before = this.names;
    const taken = new Set(channels);
    for (const servo of [...this.#held.keys()]) {
      if (!taken.has(servo)) continue;
      if (isSent) this.#held.delete(servo);
      else this.#letGo(servo);
    }
    this.#recordChange(before, this.#session?.client ?? 'prop');
  }

  /** Everything that is held decelerates and holds. */
  letGoAll(why: string): void {
    if (this.#held.size === 0) return;
    for (const servo of [...this.#held.keys()]) this.#letGo(servo);
    const who = this.#session?.client ?? 'prop';
    this.#core.journal.add(who, 'channel.perform', `performs nothing any more: ${why}`);
  }

  /** Nothing is performed any more; the caller brings the channels to rest. */
  forget(): void {
    this.#held.clear();
    this.#session = undefined;
  }

  /** Once a tick. @param free whether things may move */
  tick(free: boolean): void {
    const { size } = this.#held;
    if (size === 0) return;
    const { lease, nowS, prop } = this.#core;
    if (!free || lease.holder?.id !== this.#session?.id) {
      this.forget();
      return;
    }
    const silenceS = Math.min(SILENCE_S, prop.link.timeoutMs / 2000);
    if (nowS - this.#heardS > silenceS) {
      this.letGoAll(`no target has come for ${silenceS} s`);
      return;
    }
    let plans = 0;
    let place = 0;
    const first = this.#turn;
    for (const held of this.#held.values()) {
      // Those that had no turn in the tick before come first.
      if (place++ < first || !this.#isDue(held)) continue;
      if (plans === MOST_PLANS) {
        this.#turn = place - 1;
        return;
      }
      plans++;
      this.#send(held);
    }
    this.#turn = 0;
  }

  #isDue({ servo, askedDeg, sentDeg, plans, refusal, delayed }: Held): boolean {
    if (refusal) return false;
    if (askedDeg !== sentDeg) return true;
    // Taken over by something else, or no longer waiting for its rail.
    return !servo.delayed && (servo.plans !== plans || delayed !== undefined);
  }

  #send(held: Held): void {
    const { servo, askedDeg: targetDeg } = held;
    const { gate, nowS } = this.#core;
    try {
      const { delayed } = gate.follow({ servo, targetDeg }, this.#session!.client, nowS);
      held.delayed = delayed;
      if (delayed !== undefined && !held.told.has('delayed')) {
        held.told.add('delayed');
        this.#core.journal.add(this.#session!.client, 'delayed', `${servo.name} ${delayed}`, {
          channel: servo.name,
        });
      }
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      held.refusal = error;
      this.#tell(held, error);
    }
    held.sentDeg = targetDeg;
    held.plans = servo.plans;
  }
}

/** Whether a servo is on its way to an angle (deg), but for rounding. */
function isAt({ targetDeg }: Servo, deg: number): boolean {
  return Math.abs(targetDeg - deg) < 1e-6;
}
