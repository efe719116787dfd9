import { pushOf } from '../prop/senses.ts';
import { Refusal } from '../shared/errors.ts';
import { clamp, tidy } from '../shared/units.ts';
import type { Body } from './body.ts';
import type { CoreContext } from './core-context.ts';
import type { Sense, Senses } from './senses.ts';
import type { Servo } from './servo.ts';

/**
 * How far a servo is behind the angle that it is commanded to: what it has turned in this time (s).
 * Common practice, no source.
 */
const LAG_S = 0.1;
/** A measured angle that is nearer to the commanded one than this (deg) says nothing of the direction. */
const BEHIND_DEG = 1;

/** A servo whose own current has a limit. */
interface Pusher {
  sense: Sense;
  servo: Servo;
  /** The limit, by its place among those of the sense. */
  limit: number;
  backOffDeg: number;
  /** The current is above the limit. */
  above: boolean;
  /** Where it was commanded to, how fast (deg/s) and in which direction when that began. */
  fromDeg: number;
  fromVel: number;
  outwards: number;
  /** What is said of it until it is commanded again, and its plan by then. */
  said: string | undefined;
  plans: number;
}

/**
 * Pushing, measured: a servo whose current stays above `pushAboveA` for `pushS` while the prop is live
 * decelerates and backs off once, through the gate. While it is led beyond its limits to feel for a stop,
 * while the prop parks or wakes, and without good readings nothing of that happens.
 */
export class PushWatch {
  readonly #context: CoreContext;
  #body: Body | undefined;
  #pushers: Pusher[] = [];

  constructor(context: CoreContext) {
    this.#context = context;
  }

  /** What is said of the servo that a sense belongs to. */
  saidOf(sense: Sense): string | undefined {
    return this.#pushers.find((one) => one.sense === sense)?.said;
  }

  /** After every reading; true when something that was said is over. */
  tick(): boolean {
    const { body } = this.#context;
    if (body !== this.#body) this.#follow(body);
    let over = false;
    for (let i = 0; i < this.#pushers.length; i++) {
      const pusher = this.#pushers[i]!;
      const { servo, sense, limit } = pusher;
      if (pusher.said !== undefined && servo.plans !== pusher.plans) {
        pusher.said = undefined;
        over = true;
      }
      const above = body.senses.asks(sense, limit) || sense.hasPassed(limit);
      if (above && !pusher.above) {
        const { pos, vel } = servo.setpoint;
        pusher.fromDeg = pos;
        pusher.fromVel = vel;
        pusher.outwards = Math.sign(vel) || Math.sign(servo.targetDeg - pos);
      }
      pusher.above = above;
    }
    return over;
  }

  /** The current of a sense has been above its limit for long enough; the words for the journal. */
  heed(sense: Sense, senses: Senses): { text: string; values: Record<string, unknown> } {
    const pusher = this.#pushers.find((one) => one.sense === sense);
    const amps = senses.lastOf(sense);
    if (!pusher) return { text: `${sense.name} is above its limit`, values: {} };
    const { servo, limit } = pusher;
    const deg = Number.isNaN(servo.measuredDeg) ? servo.setpoint.pos : servo.measuredDeg;
    const what = `${servo.name} pushes at ${tidy(deg, 1)} deg: ${sense.text(amps)}, above ${sense.text(sense.limits[limit]!.at)}`;
    const values = { channel: servo.name, deg: tidy(deg), amps: tidy(amps) };
    const toDeg = this.#backOff(pusher);
    pusher.plans = servo.plans;
    pusher.said = what;
    if (toDeg === undefined) return { text: what, values };
    return {
      text: `${what}; it backs off to ${tidy(toDeg, 1)} deg`,
      values: { ...values, toDeg: tidy(toDeg) },
    };
  }

  /** Where it goes (deg); undefined where it stays as it is. */
  #backOff(pusher: Pusher): number | undefined {
    const { servo, backOffDeg } = pusher;
    const { condition, gate, cues, idle, nowS } = this.#context;
    const isAsked = servo.beyond || servo.feeling || !servo.pulsing || !servo.known;
    if (condition !== 'live' || gate.blocked !== undefined || isAsked) return undefined;
    const behindDeg = servo.setpoint.pos - servo.measuredDeg;
    const seen = Math.abs(behindDeg) > BEHIND_DEG;
    const outwards = seen ? Math.sign(behindDeg) : pusher.outwards;
    if (outwards === 0) return undefined;
    const stuckDeg = seen
      ? servo.measuredDeg
      : pusher.fromDeg - outwards * Math.abs(pusher.fromVel) * LAG_S;
    const [low, high] = servo.limitsDeg;
    const toDeg = clamp(stuckDeg - outwards * backOffDeg, low, high);
    // Never further the way that it pushes.
    if ((servo.setpoint.pos - toDeg) * outwards <= 0) return undefined;
    cues.yieldTo(new Set([servo]), 'prop');
    idle.disturb(nowS);
    try {
      gate.move([{ servo, targetDeg: toDeg }], 0, 'prop', nowS);
      return toDeg;
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      // An interlock forbids the way back: it decelerates and holds.
      servo.halt();
      return undefined;
    }
  }

  #follow(body: Body): void {
    this.#body = body;
    this.#pushers = body.senses.list.flatMap((sense): Pusher[] => {
      const push = pushOf(sense.entry);
      const servo = push && body.servos.find(({ name }) => name === push.channel);
      const limit = sense.limits.findIndex(({ what }) => what === 'pushAboveA');
      if (!servo || limit < 0) return [];
      return [
        {
          ...{ sense, servo, limit, backOffDeg: push.backOffDeg, above: false },
          ...{ fromDeg: 0, fromVel: 0, outwards: 0, said: undefined, plans: 0 },
        },
      ];
    });
  }
}
