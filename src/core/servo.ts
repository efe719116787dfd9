import { createHash } from 'node:crypto';
import { didYouMean } from '../prop/finding.ts';
import type { Draw } from '../prop/kinds/kind.ts';
import { servoDraw } from '../prop/kinds/servo.ts';
import { motionLimits } from '../prop/motion-limits.ts';
import type { Channel, Requirement, ServoChannel } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { FIELD, FLAG, type Telemetry } from '../shared/telemetry.ts';
import { clamp, tidy } from '../shared/units.ts';
import { PulseBounds } from '../sums/calibration.ts';
import type { Ease } from '../sums/ease.ts';
import { planEased } from '../sums/eased-move.ts';
import { isBelow } from '../sums/linkage.ts';
import {
  type MotionLimits,
  type MotionState,
  planMove,
  planStop,
  reachOf,
  sample,
  type Trajectory,
  turnsAfterS,
} from '../sums/profile.ts';
import { STRIDE } from '../sums/profile-path.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import { type RailAhead, START_S } from '../sums/start.ts';
import type { TakeTrack } from '../sums/take-track.ts';
import type { ActuatorContract, Standing, Time } from './actuator.ts';
import type { Board } from './boards.ts';
import type { Session } from './lease.ts';
import { type Motion, PHASE } from './motion.ts';

/** A servo that is asked to go somewhere. */
export interface Move {
  servo: Servo;
  /** In degrees of the channel: of the flap, where there is a linkage. */
  targetDeg: number;
}

/** What a servo asks of the gate. */
interface ServoGate {
  move(moves: readonly Move[], overS: number, who: string, nowS: number): unknown;
}

/** Its measured angle, compared with the commanded one: `MeasuredAngle`. */
interface ServoAngle {
  /** What is wrong with it. */
  readonly trouble: string | undefined;
  /** Why its measured angle cannot be trusted at all, or now, and what to do; undefined where it can. */
  readonly unfit: string | undefined;
  readonly doubt: string | undefined;
  /** The middle of its last readings (deg). */
  readonly steadyDeg: number;
  /** Where its pulses may start, as it is measured now (deg); NaN where that cannot be trusted. */
  readonly startDeg: number;
  /** The last angle that was measured (deg), and how long after a move it counts (ms). */
  readonly deg: number;
  readonly settleMs: number;
  readonly withinDeg: number;
  readonly unasked: boolean;
  disprove(): void;
}

type Bounded = Exclude<Requirement, { is: string }>;

/** The fastest a servo feels for its stop, or comes back from there (deg/s). */
const FEEL_SPEED_DEG_S = 20;

/** Angles (deg) and times (s) that differ by less are the same but for rounding. */
const STAYS_DEG = 1e-9;
const STAYS_S = 1e-6;

/** A way that turns round at a soft limit is followed for so long at most, looked at in such steps (s). */
const WAY_ROUND_S = 1;
/** Beyond a soft limit by less than this (deg) the pulse is the same. */
const SAME_PULSE_DEG = 1e-7;
const WAY_ROUND_STEP_S = 0.005;

const NOW = { earliestS: 0, latestS: 0 };

const amps = new Float64Array(1);

/** Captured angles are written in steps of this (deg). */
export const CAPTURE_STEP_DEG = 0.01;

/**
 * What an angle of a servo means: its output, calibration and linkage. An angle that was saved under
 * another digest says nothing of where the servo stands.
 */
export function placeDigest({ output, calibration, linkage }: ServoChannel): string {
  const what: unknown[] = [output, calibration, linkage ?? null];
  // Earlier releases took such a linkage for its mirror image: their angles are not trusted.
  if (linkage && isBelow(linkage.hornZeroDeg)) what.push('below');
  const text = JSON.stringify(what);
  return createHash('sha256').update(text).digest('hex').slice(0, 16);
}

/** An angle (deg) from deg or a mark. @throws Refusal `noSuchThing` */
export function degOf(servo: Servo, target: number | string): number {
  if (typeof target === 'number') return target;
  const deg = servo.marks.get(target);
  if (deg !== undefined) return deg;
  throw new Refusal(
    'mark.unknown',
    `${servo.name} has no mark ${target}; ${didYouMean(target, servo.marks.keys())}`,
    { channel: servo.name, mark: target },
  );
}

/** A servo as the core drives it: where it was sent, and the way from there. */
export class Servo implements ActuatorContract {
  readonly kind = 'servo';
  readonly name: string;
  readonly index: number;
  readonly spec: ServoChannel;
  readonly mapping: ServoMapping;
  readonly digest: string;
  readonly board: Board;
  readonly output: number;
  readonly rail: number;
  readonly limits: MotionLimits;
  readonly draw: Draw;
  readonly envelopeUs: readonly [number, number];
  marks: ReadonlyMap<string, number>;
  /** Where the pulses put it now: deg, deg/s, deg/s2. */
  readonly setpoint: Readonly<MotionState>;
  limitsDeg: readonly [number, number];
  /** The prop file gives the soft limits itself. */
  limitsInFile: boolean;
  parkTarget: number | string;
  /** Where the park under way brings it (deg). */
  parkingTargetDeg: number | undefined;
  readonly parkThen: 'hold' | 'release';
  /** Pulses are being sent. */
  pulsing = false;
  /** Where it stands is known, so that pulses will not make it jump. */
  known = false;
  /** Sent outside its soft limits on purpose, feeling for the stop. */
  beyond = false;
  /** The plan in hand feels for the stop: nothing else moves meanwhile. */
  feeling = false;
  /** An interlock stopped it; cleared by the next move. */
  interlocked = false;
  /** A move waits until the rail has room. */
  delayed = false;
  /** The track that it follows. */
  performing: TakeTrack | undefined;
  /** Where it stopped pushing last, and where it last stood still without pushing (deg). */
  #freedDeg = Number.NaN;
  #freeDeg = Number.NaN;
  #pushing = false;
  /** Its angle, as a sense measures it. */
  angle: ServoAngle | undefined;
  /** Where it was commanded to when its pulses were stopped (deg); NaN where that says nothing. */
  lastDeg = Number.NaN;
  /** Unknown by command, it is measured where it was commanded to last: two witnesses agree. */
  vouched = false;
  measuredDeg = Number.NaN;
  measuredA = Number.NaN;
  /** Draws as if moving until then (s): its pulses have just begun. */
  settleUntilS = Number.NEGATIVE_INFINITY;
  /** Draws its stall current until then (s): its pulses have only just begun. */
  #startsUntilS = Number.NEGATIVE_INFINITY;
  /** Its rail has room for its start; one that the rail never could give is not counted. */
  #startCounts = true;
  /** Jumps to where it is sent from a position nobody knows until then (s). */
  jumpUntilS = Number.NEGATIVE_INFINITY;
  /** The pulse (us) sent in the last tick; 0 while released. */
  get pulseUs(): number {
    return this.#motion.numbers[this.#motion.pulseAt]!;
  }

  /** Counts up with every new plan, so that a caller that waits for a move sees that it was replaced. */
  plans = 0;
  /** The plan in hand came from a jog: the next jog counts from its target. */
  jogging = false;
  /** The direction in which it still feels, sent elsewhere meanwhile: 1, -1, or 0. */
  #outwards = 0;
  readonly #motion: Motion;
  #bounds: PulseBounds;
  #envelope: PulseBounds;
  readonly #stepUs: number;
  readonly #time: Time;

  constructor(
    name: string,
    index: number,
    spec: ServoChannel,
    board: Board,
    rail: number,
    motion: Motion,
    time: Time,
  ) {
    this.#time = time;
    this.name = name;
    this.index = index;
    this.spec = spec;
    this.board = board;
    this.rail = rail;
    this.mapping = new ServoMapping(spec);
    this.digest = placeDigest(spec);
    this.envelopeUs = this.mapping.envelopeUs;
    this.limitsDeg = spec.limitsDeg ?? this.mapping.calibrationDeg;
    this.limitsInFile = spec.limitsDeg !== undefined;
    this.marks = new Map(Object.entries(spec.marks ?? {}));
    this.limits = motionLimits(spec);
    this.draw = servoDraw(spec);
    this.parkTarget = spec.park.to;
    this.parkThen = spec.park.then;
    this.#stepUs = board.driver.pulseStepUs;
    this.#bounds = this.#boundsOf(this.limitsDeg);
    this.#envelope = this.#boundsOf(this.envelopeDeg);
    this.#motion = motion;
    this.setpoint = motion;
    motion.restAt(this.parkDeg);
    this.output = board.addOutput({
      name,
      kind: 'pulse',
      pin: spec.output.pin,
      safe: 0,
      plant: {
        kind: 'servo',
        channel: name,
        calibration: this.mapping.calibration,
        linkage: this.mapping.linkage,
        envelopeUs: this.envelopeUs,
        limitsDeg: this.limitsDeg,
        draw: { idleA: this.draw.idleA, movingA: this.draw.busyA, stallA: this.draw.stallA },
        parkDeg: this.parkDeg,
      },
    });
  }

  get parkDeg(): number {
    return typeof this.parkTarget === 'number' ? this.parkTarget : this.marks.get(this.parkTarget)!;
  }

  /** Where parking brings it (deg): a park under way keeps to where it began to go. */
  get homeDeg(): number {
    return this.parkingTargetDeg ?? this.parkDeg;
  }

  /** The angles (deg) at the ends of the pulse envelope, low then high. */
  get envelopeDeg(): readonly [number, number] {
    return this.mapping.envelopeDeg;
  }

  get moving(): boolean {
    return this.#motion.moving;
  }

  get targetDeg(): number {
    return this.#motion.targetDeg;
  }

  /** How long until it is there (s); 0 at rest. */
  get leftS(): number {
    return this.#motion.leftS;
  }

  get atPark(): boolean {
    return !this.moving && Math.abs(this.setpoint.pos - this.homeDeg) < 1e-6;
  }

  /** What is outside the new limits decelerates and stays there: the pulse never jumps. */
  setLimits(limitsDeg: readonly [number, number]): void {
    this.#bounds = this.#boundsOf(limitsDeg);
    this.limitsDeg = limitsDeg;
    if (!this.wayDeg.every((deg) => this.#within(deg))) this.halt();
    this.beyond = !this.#within(this.setpoint.pos) || !this.#within(this.targetDeg);
  }

  /** Takes over soft limits as the prop file now has them; without any, the ends of the calibration. */
  takeLimits(limitsDeg: readonly [number, number] | undefined): void {
    this.limitsInFile = limitsDeg !== undefined;
    const given = limitsDeg ?? this.mapping.calibrationDeg;
    const [low, high] = this.limitsDeg;
    if (given[0] !== low || given[1] !== high) this.setLimits(given);
  }

  /** The driver says that it pushes against something. */
  get pushing(): boolean {
    return this.#pushing;
  }

  set pushing(pushing: boolean) {
    if (this.#pushing && !pushing) this.#freedDeg = this.setpoint.pos;
    this.#pushing = pushing;
  }

  /**
   * The angle (deg) that would do as a limit while it pushes outwards, up for 1 and down for -1:
   * where it stopped pushing last, or stood without; undefined when it never did on this side.
   */
  freeDeg(outwards: 1 | -1): number | undefined {
    const { pos } = this.setpoint;
    return [this.#freedDeg, this.#freeDeg].find((deg) => (pos - deg) * outwards > 0);
  }

  /**
   * The way to `deg` from wherever it is now, without taking it. Feeling for the stop all of it is
   * slow; coming back from there, the way to the limit.
   */
  plan(deg: number, minDurationS = 0, feeling = false): Trajectory {
    const way = this.#wayRound((from, leftS) =>
      planMove(from, deg, this.limits, Math.max(0, minDurationS - leftS)),
    );
    if (way) return way;
    const { setpoint, limits } = this;
    if (!(feeling || this.beyond) || limits.speed <= FEEL_SPEED_DEG_S)
      return planMove(setpoint, deg, limits, minDurationS);
    const slow = planMove(setpoint, deg, { ...limits, speed: FEEL_SPEED_DEG_S }, minDurationS);
    // As slow as this it is slow all the way.
    if (feeling || slow.durationS <= minDurationS) return slow;
    const insideS = this.#insideAfterS(slow);
    if (insideS === undefined) return slow;
    const there = { pos: 0, vel: 0, acc: 0 };
    sample(slow, insideS, there);
    return joined(slow, insideS, planMove(there, deg, limits, minDurationS - insideS));
  }

  /**
   * A way that turns round at a soft limit may be where a stop would go past that: to end the acceleration
   * back takes time, in which it would go on. Then it first goes on until it can stop inside.
   * @param then what it does from there, and when that is (s from now)
   * @returns undefined where it can stop inside now
   */
  #wayRound(then: (from: MotionState, atS: number) => Trajectory): Trajectory | undefined {
    const { limits, limitsDeg, setpoint } = this;
    if (limits.jerk === undefined || !this.moving || this.beyond) return undefined;
    const isInside = (from: Readonly<MotionState>): boolean => {
      const [low, high] = reachOf(planStop(from, limits));
      return low >= limitsDeg[0] - SAME_PULSE_DEG && high <= limitsDeg[1] + SAME_PULSE_DEG;
    };
    if (isInside(setpoint)) return undefined;
    const left = this.#motion.remaining();
    const there: MotionState = { pos: 0, vel: 0, acc: 0 };
    for (let steps = 1; steps * WAY_ROUND_STEP_S <= WAY_ROUND_S; steps++) {
      const atS = Math.min(steps * WAY_ROUND_STEP_S, left.durationS);
      sample(left, atS, there);
      if (isInside(there)) return joined(left, atS, then({ ...there }, atS));
      if (atS === left.durationS) return undefined;
    }
    return undefined;
  }

  /** When a way to inside the limits is back there (s); undefined where it never is. */
  #insideAfterS(way: Trajectory): number | undefined {
    const [low, high] = this.limitsDeg;
    const at = { pos: 0, vel: 0, acc: 0 };
    const isOutside = (atS: number): boolean => {
      sample(way, atS, at);
      return at.pos < low || at.pos > high;
    };
    if (isOutside(way.durationS)) return undefined;
    // On its way out, still inside, it turns round where it would stop.
    let outS = 0;
    if (!isOutside(0)) {
      const stop = planStop(this.setpoint, this.limits);
      if (stop.endPos >= low && stop.endPos <= high) return 0;
      outS = stop.durationS;
      if (!isOutside(outS)) return undefined;
    }
    let inS = way.durationS;
    while (inS - outS > 1e-6) {
      const middleS = (outS + inS) / 2;
      if (isOutside(middleS)) outS = middleS;
      else inS = middleS;
    }
    return inS;
  }

  /** As `plan`, along a curve; a servo that is on the move, or beyond its limits, goes without. */
  planEased(deg: number, durationS: number, ease: Ease | undefined): Trajectory {
    if (!ease || this.moving || this.beyond) return this.plan(deg, durationS);
    return planEased(this.setpoint.pos, deg, ease, durationS, this.limits);
  }

  /**
   * Follows a plan from now on; on its way out it goes on feeling until it has turned round.
   * @param delayS how long the plan stands still before it begins (s)
   * @param startCounts the rail has room for its start, which is part of what it is said to carry
   */
  take(trajectory: Trajectory, delayS = 0, startCounts = false): void {
    const start = this.#startIn(trajectory, delayS);
    // Only now: that it pushes shows a moment after it has stopped.
    if (!this.moving && !this.#pushing) this.#freeDeg = this.setpoint.pos;
    if (this.feeling) this.#outwards = this.#goesOut() ? Math.sign(this.setpoint.vel) : 0;
    this.feeling = this.#outwards !== 0;
    this.#motion.follow(trajectory);
    this.#motion.startsBetween(start.fromS, start.untilS, start.waitsS ?? delayS);
    if (!start.goesOn) this.#startCounts = startCounts;
    this.plans++;
    this.jogging = false;
    this.interlocked = false;
    this.delayed = false;
    this.performing = undefined;
  }

  /** Where it is sent (deg): to its target, and, on a track, to the ends of that on its way. */
  get wayDeg(): readonly number[] {
    return [this.targetDeg, ...(this.performing?.rangeDeg ?? [])];
  }

  /** Follows a track that begins where it stands. @param startCounts as in `take` */
  perform(track: TakeTrack, startCounts: boolean): void {
    this.take(track.trajectory, 0, startCounts);
    this.#motion.followTurning(track.trajectory, track.startsS, START_S);
    this.#startCounts = startCounts;
    this.performing = track;
  }

  /** Its motor stands still. */
  get #still(): boolean {
    return !this.moving || this.#motion.phase === PHASE.waits;
  }

  /** From when until when of a plan its motor starts or turns round, and until when it waits (s). */
  #startIn(
    plan: Trajectory,
    delayS: number,
  ): { fromS: number; untilS: number; waitsS?: number; goesOn?: boolean } {
    const { pos, vel } = this.setpoint;
    if (this.#still || vel === 0) {
      // With nowhere to go it stands still until the others arrive.
      if (Math.abs(plan.endPos - pos) < STAYS_DEG)
        return { fromS: delayS, untilS: delayS, waitsS: Number.POSITIVE_INFINITY };
      return { fromS: delayS, untilS: delayS + START_S };
    }
    const leftS = this.#startLeftS;
    const turnS = turnsAfterS(plan, vel);
    if (turnS === undefined) return { fromS: 0, untilS: leftS, goesOn: true };
    return { fromS: leftS > 0 ? 0 : turnS, untilS: turnS + START_S };
  }

  /**
   * When its motor may start, or turn round, if it is sent to `deg` (s from now): at 0 from rest; undefined
   * where it does neither. With a jerk limit it turns before a stop would have ended, the sooner the faster
   * the move is.
   */
  startsIn(deg: number): { earliestS: number; latestS: number } | undefined {
    // It draws its stall current already.
    if (this.#pushing) return undefined;
    const { pos, vel } = this.setpoint;
    if (!this.pulsing) return NOW;
    if (this.#still || vel === 0) return Math.abs(deg - pos) < STAYS_DEG ? undefined : NOW;
    const { endPos, durationS } = planStop(this.setpoint, this.limits);
    if ((deg - endPos) * vel >= -STAYS_DEG) return undefined;
    const latestS = Math.max(durationS, STAYS_S);
    if (this.limits.jerk === undefined) return { earliestS: latestS, latestS };
    const fastestS = turnsAfterS(this.plan(deg), vel) ?? latestS;
    return { earliestS: clamp(fastestS, STAYS_S, latestS), latestS };
  }

  /**
   * Adds the current of a turn that is to come, beside what `addTo` adds: `take` lets a start that is under
   * way last until the turn is over.
   */
  addTurnTo(rail: RailAhead, { earliestS, latestS }: { earliestS: number; latestS: number }): void {
    const { busyA, stallA } = this.draw;
    const leftS = this.#startLeftS;
    const addedS = this.#startCounts ? leftS : 0;
    rail.add(stallA - busyA, leftS > 0 ? addedS : earliestS, latestS + START_S);
  }

  /** How long a start that is under way goes on (s). */
  get #startLeftS(): number {
    return this.#motion.phase === PHASE.starts ? this.#motion.ahead.startedS : 0;
  }

  /** How long until no start of it is under way or to come (s). */
  get startedAfterS(): number {
    const wakesS = this.#startsUntilS - this.#time.nowS;
    if (this.#motion.turns) return Math.max(0, wakesS, this.#motion.leftS);
    return Math.max(0, wakesS, this.moving ? this.#motion.ahead.startedS : 0);
  }

  /** Adds what it will draw, as far as that is known; if it moves, it may go on doing so. */
  addTo(rail: RailAhead): void {
    if (!this.pulsing) return;
    const { idleA, busyA, stallA } = this.draw;
    if (this.#pushing) {
      rail.add(stallA, 0);
      return;
    }
    const startA = this.#startCounts ? stallA : busyA;
    if (this.#motion.turns) {
      // It may turn at any time.
      rail.add(busyA, 0);
      rail.add(startA - busyA, 0, this.#motion.leftS);
      return;
    }
    if (this.moving) {
      const { waitsS, startsS, startedS } = this.#motion.ahead;
      const fromS = Math.max(0, waitsS);
      rail.add(idleA, 0, fromS);
      rail.add(busyA, fromS);
      rail.add(startA - busyA, Math.max(fromS, startsS), startedS);
      return;
    }
    const { nowS } = this.#time;
    const settlesS = this.settleUntilS - nowS;
    rail.add(idleA, 0);
    rail.add(busyA - idleA, 0, settlesS);
    rail.add(startA - busyA, 0, this.#startsUntilS - nowS);
  }

  /** As `take`, of a step that may leave the soft limits. */
  feel(trajectory: Trajectory, startCounts: boolean): void {
    this.take(trajectory, 0, startCounts);
    this.jogging = true;
    this.feeling = true;
    this.#outwards = 0;
  }

  #goesOut(): boolean {
    const [low, high] = this.limitsDeg;
    const { pos, vel } = this.setpoint;
    if (vel > 0) return Math.max(pos, this.targetDeg) > high;
    return vel < 0 && Math.min(pos, this.targetDeg) < low;
  }

  /** Decelerates within the limits and stays there. */
  halt(): void {
    if (!this.moving) return;
    const way = this.#wayRound((from) => planStop(from, this.limits));
    this.take(way ?? planStop(this.setpoint, this.limits));
  }

  /** Stops at once where it is, for power that is cut anyway. */
  freeze(): void {
    if (this.moving) this.plans++;
    this.#motion.rest();
    this.performing = undefined;
    this.jogging = false;
    this.feeling = false;
    this.#outwards = 0;
  }

  /** It stands at `deg`, as somebody remembers; no pulse is sent. */
  standAt(deg: number): void {
    this.#motion.restAt(deg);
  }

  /** Starts the pulses at `deg`: its last known position, or where an unknown one is sent first. */
  startPulses(deg: number, settleUntilS: number, startCounts = true): void {
    this.#startsUntilS = Math.min(settleUntilS, this.#time.nowS + START_S);
    this.#startCounts = startCounts;
    if (!this.known) this.jumpUntilS = settleUntilS;
    this.lastDeg = Number.NaN;
    this.vouched = false;
    this.#freedDeg = Number.NaN;
    this.#freeDeg = Number.NaN;
    this.pulsing = true;
    this.known = true;
    this.settleUntilS = settleUntilS;
    this.#motion.restAt(deg);
    this.beyond = !this.#within(deg);
  }

  /** Continues where `other`, the same servo in an earlier version of the file, stands. */
  resume(other: Servo, pulsesGoOn: boolean): void {
    this.#motion.restAt(other.setpoint.pos);
    this.known = other.known;
    this.pulsing = pulsesGoOn && other.pulsing;
    this.settleUntilS = other.settleUntilS;
    this.jumpUntilS = other.jumpUntilS;
    this.lastDeg = other.lastDeg;
    this.beyond = this.pulsing && !this.#within(other.setpoint.pos);
  }

  /** Whether a position of `other` means the same here: the same output, calibration and linkage. */
  standsLike({ digest }: Servo): boolean {
    return this.digest === digest;
  }

  /**
   * Stops the pulses. Away from its park position, or on its way from an unknown one, it stands anywhere
   * from now on: a limp limb falls, or somebody moves it.
   */
  release(nowS: number): void {
    if (this.pulsing) this.lastDeg = nowS < this.jumpUntilS ? Number.NaN : this.setpoint.pos;
    if (this.pulsing && (!this.atPark || nowS < this.jumpUntilS)) this.known = false;
    this.freeze();
    this.pulsing = false;
    this.beyond = false;
  }

  advance(): void {
    if (!this.moving) return;
    this.#motion.advance(this.#time);
    if (this.#outwards !== 0 && this.setpoint.vel * this.#outwards <= 0) {
      this.#outwards = 0;
      this.feeling = false;
    }
    if (!this.moving) {
      this.performing = undefined;
      this.jogging = false;
      this.feeling = false;
      this.#outwards = 0;
      if (this.#within(this.setpoint.pos)) this.beyond = false;
    }
  }

  /** Notes the pulse of this tick, rounded so that the limits hold for the pulse as well. */
  put(): void {
    const { numbers, pulseAt } = this.#motion;
    const bounds = this.beyond ? this.#envelope : this.#bounds;
    if (this.pulsing) bounds.writePulseUs(this.setpoint, numbers, pulseAt);
    else numbers[pulseAt] = 0;
    this.board.putAt(this.output, numbers, pulseAt);
  }

  /** The pulse (us) at `deg`, whether it has its pulses or not. */
  pulseAt(deg: number): number {
    return this.#envelope.pulseUs(deg);
  }

  // --- what every actuator answers

  get valueType(): 'deg' {
    return 'deg';
  }

  get moves(): true {
    return true;
  }

  get parksEarly(): false {
    return false;
  }

  get needsAtHome(): false {
    return false;
  }

  get awaitsNote(): false {
    return false;
  }

  get rests(): boolean {
    return this.known && this.atPark && !this.delayed;
  }

  get isUnknown(): boolean {
    return !(this.known || this.vouched);
  }

  get isLimp(): boolean {
    return !this.pulsing;
  }

  get isBusy(): boolean {
    return this.moving || this.delayed;
  }

  get isUnsettled(): boolean {
    return this.moving || this.delayed;
  }

  get now(): number {
    return this.setpoint.pos;
  }

  get moveTargetDeg(): number | undefined {
    return this.moving ? this.targetDeg : undefined;
  }

  get home(): number {
    return this.homeDeg;
  }

  get recordedValue(): number {
    return this.setpoint.pos;
  }

  /** Nothing limp, or on its way from an unknown position, is relied on. */
  meets(requirement: Requirement): boolean {
    if ('is' in requirement)
      return (
        requirement.is === 'parked' &&
        this.rests &&
        this.pulsing &&
        this.#time.nowS >= this.jumpUntilS
      );
    return this.pulsing && isBeyond(requirement, this, this.setpoint.pos);
  }

  meetsAt(requirement: Requirement, standing: Standing): boolean {
    if (typeof standing !== 'number') return false;
    if ('is' in requirement)
      return requirement.is === 'parked' && Math.abs(standing - this.homeDeg) < 1e-6;
    return isBeyond(requirement, this, standing);
  }

  isInUse(moving: boolean): boolean {
    return moving ? this.isBusy : !this.rests;
  }

  collectTarget(target: number | string, { moves }: { moves: Move[] }): void {
    moves.push({ servo: this, targetDeg: degOf(this, target) });
  }

  isHoming(): boolean {
    return this.delayed || (this.moving && this.targetDeg === this.homeDeg);
  }

  goHome(gate: ServoGate, nowS: number): void {
    gate.move([{ servo: this, targetDeg: this.homeDeg }], 0, 'prop', nowS);
  }

  identify(by: { wiggle(servo: Servo, session: Session): number }, session: Session): number {
    return by.wiggle(this, session);
  }

  follow(spec: Channel): void {
    if (spec.kind !== this.kind) return;
    this.marks = new Map(Object.entries(spec.marks ?? {}));
    this.parkTarget = spec.park.to;
    this.takeLimits(spec.limitsDeg);
  }

  continueFrom(was: ActuatorContract | undefined, pulsesGoOn: boolean): void {
    if (was instanceof Servo && this.standsLike(was)) this.resume(was, pulsesGoOn);
  }

  flags(): number {
    return (
      (this.moving ? FLAG.moving : 0) |
      (this.pulsing ? 0 : FLAG.released) |
      ((this.known || this.vouched) && this.#time.nowS >= this.jumpUntilS ? 0 : FLAG.unknown) |
      (this.beyond ? FLAG.beyond : 0) |
      (this.pushing ? FLAG.pushing : 0) |
      (this.interlocked ? FLAG.interlocked : 0) |
      (this.delayed ? FLAG.delayed : 0) |
      (this.angle?.trouble === undefined ? 0 : FLAG.astray)
    );
  }

  publish(telemetry: Telemetry, senses: boolean): void {
    const { numbers } = telemetry;
    const at = telemetry.channelAt(this.index);
    numbers[at + FIELD.flags] = this.flags();
    numbers[at + FIELD.value] = this.setpoint.pos;
    numbers[at + FIELD.target] = this.targetDeg;
    numbers[at + FIELD.pulseUs] = this.pulseUs;
    this.writeAmps(numbers, at + FIELD.amps);
    if (!senses) return;
    numbers[at + FIELD.measuredDeg] = this.measuredDeg;
    numbers[at + FIELD.measuredA] = this.measuredA;
  }

  get awakeA(): number {
    return this.draw.idleA;
  }

  get startA(): number {
    return this.pulsing ? 0 : this.draw.busyA - this.draw.idleA;
  }

  awayText(): string {
    if (this.vouched)
      return `${this.name} is limp, and measured at ${tidy(this.angle!.deg, 1)} deg`;
    return `${this.name} is at ${tidy(this.setpoint.pos)} deg`;
  }

  useText(): string {
    if (this.rests) return 'is to leave its park position';
    if (this.moving) return `is on its way to ${tidy(this.targetDeg)} deg`;
    return `is at ${tidy(this.setpoint.pos)} deg, away from its park position,`;
  }

  remedy(): string {
    return this.rests
      ? `move ${this.name} later, or this one`
      : `bring ${this.name} to ${tidy(this.homeDeg)} deg, its park position,`;
  }

  targetText(standing: Standing): string {
    return `to ${tidy(Number(standing))} deg`;
  }

  /** Estimated draw (A). */
  amps(): number {
    this.writeAmps(amps, 0);
    return amps[0]!;
  }

  /** The same without what it draws while it starts; waiting for its turn it counts as moving (A). */
  get lastingA(): number {
    const { draw } = this;
    if (!this.pulsing) return 0;
    if (this.#pushing) return draw.stallA;
    return this.moving || this.#time.nowS < this.settleUntilS - STAYS_S ? draw.busyA : draw.idleA;
  }

  writeAmps(into: Float64Array, at: number): void {
    const { draw } = this;
    if (!this.pulsing) into[at] = 0;
    else if (this.#pushing) into[at] = draw.stallA;
    else if (this.moving) {
      const { phase } = this.#motion;
      if (phase === PHASE.waits) into[at] = draw.idleA;
      else into[at] = phase === PHASE.starts && this.#startCounts ? draw.stallA : draw.busyA;
    } else if (this.#time.nowS < this.#startsUntilS - STAYS_S)
      into[at] = this.#startCounts ? draw.stallA : draw.busyA;
    else into[at] = this.#time.nowS < this.settleUntilS - STAYS_S ? draw.busyA : draw.idleA;
  }

  #within(deg: number): boolean {
    const [low, high] = this.limitsDeg;
    if (deg >= low && deg <= high) return true;
    // What lies outside by the rounding of a captured limit alone, and has the same pulse, is inside.
    return this.#bounds.pulseUs(deg) === this.#envelope.pulseUs(deg);
  }

  #boundsOf(limitsDeg: readonly [number, number]): PulseBounds {
    return new PulseBounds(this.mapping, limitsDeg, this.envelopeUs, this.#stepUs);
  }
}

/** Whether `deg` is above, or below, what is required; a mark that is gone is never met. */
function isBeyond(requirement: Bounded, { marks }: Servo, deg: number): boolean {
  // Written out: a value that may be a number or a mark would be allocated in every tick.
  if ('above' in requirement) {
    const { above } = requirement;
    if (typeof above === 'number') return deg > above;
    return deg > (marks.get(above) ?? Number.POSITIVE_INFINITY);
  }
  const { below } = requirement;
  if (typeof below === 'number') return deg < below;
  return deg < (marks.get(below) ?? Number.NEGATIVE_INFINITY);
}

/** The first trajectory until `atS`, then the second one. */
function joined(first: Trajectory, atS: number, second: Trajectory): Trajectory {
  let count = 0;
  while (count < first.segments.length && first.segments[count]! < atS) count += STRIDE;
  const segments = new Float64Array(count + second.segments.length);
  segments.set(first.segments.subarray(0, count));
  segments.set(second.segments, count);
  for (let i = count; i < segments.length; i += STRIDE) segments[i]! += atS;
  return { durationS: atS + second.durationS, endPos: second.endPos, segments };
}
