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
  /** Who leads it, in words; and by what: the targets of each let go only of their own. */
  who: string;
  by: 'session' | 'outside';
  /** When its last target came (s). */
  heardS: number;
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
  /** Where the next tick begins to plan. */
  #turn = 0;

  constructor(core: PerformHost) {
    this.#core = core;
  }

  /** The names of what is performed now. */
  get names(): string[] {
    return [...this.#held.values()].map(({ servo }) => servo.name);
  }

  /** Who leads a servo now, in words. */
  leaderOf(servo: Servo): string | undefined {
    return this.#held.get(servo)?.who;
  }

  /**
   * Takes targets (deg) for all that is performed from now on: what was before, and is not among them,
   * decelerates and holds.
   * @throws Refusal `limits.outside`; nothing has changed then. What may not go there for another reason
   *   stays, and the answer says why.
   */
  perform(moves: readonly Move[], session: Session): Record<string, Following> {
    const { client: who } = session;
    const servos = new Set(moves.map(({ servo }) => servo));
    this.#take(moves, session, { who, by: 'session' }, () => {
      for (const { servo, by } of [...this.#held.values()])
        if (by === 'session' && !servos.has(servo)) this.#letGo(servo);
    });
    return Object.fromEntries(moves.map(({ servo }) => [servo.name, this.#following(servo)]));
  }

  /**
   * Takes a target (deg) for one servo, that a message from outside has; it holds once no other comes.
   * @param session who has control; @param who the sender, in words
   * @throws Refusal as `perform`
   */
  lead(move: Move, session: Session, who: string): void {
    this.#take([move], session, { who, by: 'outside' });
  }

  #take(
    moves: readonly Move[],
    session: Session,
    leads: Pick<Held, 'who' | 'by'>,
    letGo: () => void = () => {},
  ): void {
    for (const { servo, targetDeg } of moves) this.#core.gate.mustBeWithin(servo, targetDeg);
    const refusals = moves.map((move) => this.#refusalOf(move));
    if (this.#session?.id !== session.id) this.forget();
    this.#session = session;
    const before = this.names;
    letGo();
    for (const [i, { servo, targetDeg }] of moves.entries())
      this.#hold(servo, targetDeg, refusals[i], leads);
    const servos = new Set<Actuator>(moves.map(({ servo }) => servo));
    if (servos.size > 0) this.#core.performs(servos, leads.who);
    this.#recordChange(before, leads.who);
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

  #hold(
    servo: Servo,
    askedDeg: number,
    refusal: Refusal | undefined,
    leads: Pick<Held, 'who' | 'by'>,
  ): void {
    const { nowS } = this.#core;
    const held = this.#held.get(servo) ?? {
      servo,
      ...leads,
      heardS: nowS,
      sentDeg: Number.NaN,
      plans: -1,
      delayed: undefined,
      lookedS: nowS,
      told: new Set<string>(),
      askedDeg,
      refusal,
    };
    held.askedDeg = askedDeg;
    held.refusal = refusal;
    held.lookedS = nowS;
    held.heardS = nowS;
    Object.assign(held, leads);
    if (refusal) this.#tell(held, refusal);
    this.#held.set(servo, held);
  }

  /** Each reason once, for as long as it is held: a stream must not flush the journal. */
  #tell({ told, servo, who }: Held, { word, message, values }: Refusal): void {
    if (told.has(word)) return;
    told.add(word);
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
    const [{ who } = { who: 'prop' }] = this.#held.values();
    for (const servo of [...this.#held.keys()]) this.#letGo(servo);
    this.#core.journal.add(who, 'channel.perform', `performs nothing any more: ${why}`);
  }

  /** What messages from outside lead decelerates and holds. */
  letGoOutside(why: string): void {
    this.#letGoThose(({ by }) => by === 'outside', why);
  }

  /** Some of what is held decelerates and holds. */
  #letGoThose(those: (held: Held) => boolean, why: string): void {
    const going = [...this.#held.values()].filter(those);
    for (const { servo } of going) this.#letGo(servo);
    const { who } = going[0] ?? {};
    if (who === undefined) return;
    const names = going.map(({ servo }) => servo.name).join(', ');
    this.#core.journal.fold(who, 'channel.perform', `no longer performs ${names}: ${why}`, {
      channels: this.names,
    });
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
    let silent = 0;
    for (const { heardS } of this.#held.values()) if (nowS - heardS > silenceS) silent++;
    if (silent > 0) {
      const why = `no target has come for ${silenceS} s`;
      if (silent === size) this.letGoAll(why);
      else this.#letGoThose(({ heardS }) => nowS - heardS > silenceS, why);
    }
    if (silent === size) return;
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
    const { servo, who, askedDeg: targetDeg } = held;
    const { gate, nowS } = this.#core;
    try {
      const { delayed } = gate.follow({ servo, targetDeg }, who, nowS);
      held.delayed = delayed;
      if (delayed !== undefined && !held.told.has('delayed')) {
        held.told.add('delayed');
        this.#core.journal.add(who, 'delayed', `${servo.name} ${delayed}`, {
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
