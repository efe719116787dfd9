import { freeRunningOf } from '../prop/free-running.ts';
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
/** A measured angle puts the place where it is stuck this much further back at most (deg). Chosen, no source. */
const MOST_BEHIND_DEG = 5;
/** It does not follow once its measured angle is behind by this (deg), besides its lag. */
const FOLLOWS_WITHIN_DEG = 3;
/** For so long after it has stopped, it still pushes the way that it moved (s). */
const RECENT_S = 1;

/** A servo whose own current has a limit. */
interface Pusher {
  sense: Sense;
  servo: Servo;
  /** The limit, by its place among those of the sense; -1 where it has none. */
  limit: number;
  /** The most that it draws running free (A), towards rising and falling angles; NaN where not measured. */
  risingA: number;
  fallingA: number;
  /** What it may draw more than that (A), and for how long (ms). */
  overA: number;
  forMs: number;
  /** The soft limits that it was measured within. */
  limitsDeg: readonly [number, number];
  backOffDeg: number;
  /** Since when it draws more than running free by `overA` (ms), NaN while it does not; and for long enough. */
  sinceMs: number;
  over: boolean;
  /** The current is above one of the two. */
  above: boolean;
  /** The way of its last move, and when it last moved (s). */
  way: number;
  movedS: number;
  /** Where it was commanded to, how fast (deg/s) and in which direction when the current rose. */
  fromDeg: number;
  fromVel: number;
  outwards: number;
  /** As far as it goes back if it still pushes (deg), NaN where it is there; the current that shows it (A). */
  nextDeg: number;
  aboveA: number;
  /** When it last moved, or did not push (ms). */
  restMs: number;
  /** What is said of it until it is commanded again, and its plan by then. */
  said: string | undefined;
  plans: number;
}

/**
 * Pushing, measured: a servo whose current stays above `pushAboveA`, or above its free-running current by
 * `pushOverA`, for `pushS` while the prop is live decelerates and backs off once, through the gate. A
 * measured angle that does not follow halves `pushOverA`, and tells where it is stuck, within bounds: it
 * never keeps a push from being noticed, and never gives the direction. While the servo is led beyond its
 * limits to feel for a stop, while the prop parks or wakes, and without good readings nothing of that
 * happens.
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

  /** After every reading; true when what is said is other than before. */
  tick(): boolean {
    const { body, nowS } = this.#context;
    if (body !== this.#body) this.#follow(body);
    let changed = false;
    for (let i = 0; i < this.#pushers.length; i++) {
      const pusher = this.#pushers[i]!;
      const { servo, sense, limit } = pusher;
      if (pusher.said !== undefined && servo.plans !== pusher.plans) {
        pusher.said = undefined;
        changed = true;
      }
      const { pos, vel } = servo.setpoint;
      const way = Math.sign(vel) || Math.sign(servo.targetDeg - pos);
      if (way !== 0) {
        // A motor that turns round starts again.
        if (way !== pusher.way) pusher.sinceMs = Number.NaN;
        pusher.way = way;
        pusher.movedS = nowS;
      }
      const begins = this.#judge(pusher, body.senses);
      const isPast = limit >= 0 && (body.senses.asks(sense, limit) || sense.hasPassed(limit));
      const above = isPast || !Number.isNaN(pusher.sinceMs);
      if (above && !pusher.above) {
        pusher.fromDeg = pos;
        pusher.fromVel = vel;
        pusher.outwards = nowS - pusher.movedS <= RECENT_S ? pusher.way : 0;
      }
      pusher.above = above;
      if (this.#goOnBack(pusher)) changed = true;
      if (begins && this.#react(pusher, freeA(pusher) + pusher.overA)) changed = true;
    }
    return changed;
  }

  /** The current of a sense has been above `pushAboveA` for long enough. */
  heed(sense: Sense): void {
    const pusher = this.#pushers.find((one) => one.sense === sense);
    if (pusher) this.#react(pusher, sense.limits[pusher.limit]!.at);
  }

  /** Whether it has just drawn more than running free for long enough. */
  #judge(pusher: Pusher, senses: Senses): boolean {
    const { sense, servo, limitsDeg } = pusher;
    const amps = senses.valueOf(sense);
    let aboveA = freeA(pusher) + pusher.overA;
    if (doesNotFollow(pusher)) aboveA -= pusher.overA / 2;
    const [low, high] = servo.limitsDeg;
    const holds = low === limitsDeg[0] && high === limitsDeg[1];
    // Comparing with what is not a number, it is not above.
    if (!holds || !(amps > aboveA)) {
      pusher.sinceMs = Number.NaN;
      pusher.over = false;
      return false;
    }
    const takenMs = senses.takenMsOf(sense);
    if (Number.isNaN(pusher.sinceMs)) pusher.sinceMs = takenMs;
    if (pusher.over || takenMs - pusher.sinceMs < pusher.forMs) return false;
    pusher.over = true;
    return true;
  }

  /** It pushes: says so, and lets it back off. False where that has happened already. */
  #react(pusher: Pusher, aboveA: number): boolean {
    const { servo, sense } = pusher;
    if (pusher.said !== undefined && servo.plans === pusher.plans) return false;
    const amps = this.#context.body.senses.lastOf(sense);
    const deg = Number.isNaN(servo.measuredDeg) ? servo.setpoint.pos : servo.measuredDeg;
    const what = `${servo.name} pushes at ${tidy(deg, 1)} deg: ${sense.text(amps)}, above ${sense.text(aboveA)}`;
    pusher.aboveA = aboveA;
    const toDeg = this.#backOff(pusher);
    pusher.plans = servo.plans;
    pusher.said = what;
    const text = toDeg === undefined ? what : `${what}; it backs off to ${tidy(toDeg, 1)} deg`;
    this.#context.journal.add('prop', 'sense', text, {
      ...{ sense: sense.name, channel: servo.name, deg: tidy(deg), amps: tidy(amps) },
      ...(toDeg !== undefined && { toDeg: tidy(toDeg) }),
    });
    return true;
  }

  /** Where it goes (deg); undefined where it stays as it is. */
  #backOff(pusher: Pusher): number | undefined {
    const { servo, backOffDeg, outwards, fromDeg, fromVel } = pusher;
    // Standing still, the way that it pushes is not known: to yield might be to push.
    if (outwards === 0) return undefined;
    // It is stuck no further out than where it was sent when the current rose.
    const roseOut = fromDeg * outwards - Math.abs(fromVel) * LAG_S;
    const measuredOut = servo.measuredDeg * outwards;
    const isSeen = measuredOut <= fromDeg * outwards;
    const stuckOut = isSeen ? Math.max(measuredOut, roseOut - MOST_BEHIND_DEG) : roseOut;
    pusher.nextDeg = stuckOut > roseOut ? (roseOut - backOffDeg) * outwards : Number.NaN;
    return this.#goBack(pusher, (stuckOut - backOffDeg) * outwards);
  }

  /** A measured angle may have been wrong: where it still pushes, it goes as far back as without one. */
  #goOnBack(pusher: Pusher): boolean {
    const { servo, sense, nextDeg, forMs } = pusher;
    const { body, nowMs } = this.#context;
    if (Number.isNaN(nextDeg) || servo.plans !== pusher.plans) return false;
    const isAbove = body.senses.valueOf(sense) > pusher.aboveA;
    // At rest without pushing it is free: what pushes later is something else.
    if (!servo.moving && !isAbove) pusher.nextDeg = Number.NaN;
    if (servo.moving || !isAbove) {
      pusher.restMs = nowMs;
      return false;
    }
    if (nowMs - pusher.restMs < forMs) return false;
    pusher.nextDeg = Number.NaN;
    const toDeg = this.#goBack(pusher, nextDeg);
    pusher.plans = servo.plans;
    if (toDeg === undefined) return false;
    const text = `${servo.name} still pushes; it backs off to ${tidy(toDeg, 1)} deg`;
    const values = { sense: sense.name, channel: servo.name, toDeg: tidy(toDeg) };
    this.#context.journal.add('prop', 'sense', text, values);
    return true;
  }

  #goBack({ servo, outwards }: Pusher, askedDeg: number): number | undefined {
    const { condition, gate, cues, idle, nowS } = this.#context;
    const isAsked = servo.beyond || servo.feeling || !servo.pulsing || !servo.known;
    if (condition !== 'live' || gate.blocked !== undefined || isAsked) return undefined;
    const [low, high] = servo.limitsDeg;
    const toDeg = clamp(askedDeg, low, high);
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
      if (!servo) return [];
      const limit = sense.limits.findIndex(({ what }) => what === 'pushAboveA');
      const { risingA = Number.NaN, fallingA = Number.NaN } = freeRunningOf(servo.spec) ?? {};
      return [
        {
          ...{ sense, servo, limit, risingA, fallingA, limitsDeg: servo.limitsDeg },
          ...{ overA: push.overA ?? Number.NaN, forMs: push.forS * 1000 },
          ...{ backOffDeg: push.backOffDeg, sinceMs: Number.NaN, over: false, above: false },
          ...{ way: 0, movedS: Number.NEGATIVE_INFINITY, fromDeg: 0, fromVel: 0, outwards: 0 },
          ...{ nextDeg: Number.NaN, aboveA: 0, restMs: 0, said: undefined, plans: 0 },
        },
      ];
    });
  }
}

/** The most that it draws running free the way that it moved last (A); either way before its first move. */
function freeA({ way, risingA, fallingA }: Pusher): number {
  if (way === 0) return Math.max(risingA, fallingA);
  return way > 0 ? risingA : fallingA;
}

/** Its measured angle is behind the commanded one by more than its lag; never where it is not measured. */
function doesNotFollow({ servo, way }: Pusher): boolean {
  const { pos, vel } = servo.setpoint;
  return (pos - servo.measuredDeg) * way > FOLLOWS_WITHIN_DEG + Math.abs(vel) * LAG_S;
}
