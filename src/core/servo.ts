import { createHash } from 'node:crypto';
import { motionLimits } from '../prop/motion-limits.ts';
import type { ServoChannel } from '../prop/schema.ts';
import { FIELD } from '../shared/telemetry.ts';
import { PulseBounds } from '../sums/calibration.ts';
import type { Ease } from '../sums/ease.ts';
import { planEased } from '../sums/eased-move.ts';
import {
  type MotionLimits,
  type MotionState,
  planMove,
  planStop,
  sample,
  type Trajectory,
} from '../sums/profile.ts';
import { STRIDE } from '../sums/profile-path.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import type { Board } from './boards.ts';
import type { Motion } from './motion.ts';

/** The fastest a servo feels for its stop, or comes back from there (deg/s). */
const FEEL_SPEED_DEG_S = 20;

const amps = new Float64Array(1);

/** Captured angles are written in steps of this (deg). */
export const CAPTURE_STEP_DEG = 0.01;

/**
 * What an angle of a servo means: its output, calibration and linkage. An angle that was noted under
 * another digest says nothing of where the servo stands.
 */
export function placeDigest({ output, calibration, linkage }: ServoChannel): string {
  const text = JSON.stringify([output, calibration, linkage ?? null]);
  return createHash('sha256').update(text).digest('hex').slice(0, 16);
}

/** A servo as the core drives it: where it was told to be, and the way from there. */
export class Servo {
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
  readonly draw: { idleA: number; movingA: number; stallA: number };
  readonly envelopeUs: readonly [number, number];
  marks: ReadonlyMap<string, number>;
  /** Where the pulses put it now: deg, deg/s, deg/s2. */
  readonly state: Readonly<MotionState>;
  limitsDeg: readonly [number, number];
  /** The prop file gives the soft limits itself. */
  limitsInFile: boolean;
  parkTo: number | string;
  /** Where the park under way brings it (deg). */
  parkingToDeg: number | undefined;
  readonly parkThen: 'hold' | 'release';
  /** Pulses are being sent. */
  energised = false;
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
  /** Where it stopped pushing last, and where it last stood still without pushing (deg). */
  #freedDeg = Number.NaN;
  #freeDeg = Number.NaN;
  #pushing = false;
  measuredDeg = Number.NaN;
  measuredA = Number.NaN;
  /** Draws as if moving until then (s): it has just been energised. */
  settleUntilS = Number.NEGATIVE_INFINITY;
  /** Jumps to where it is sent from a position nobody knows until then (s). */
  jumpUntilS = Number.NEGATIVE_INFINITY;
  /** The pulse (us) sent in the last tick; 0 while released. */
  get pulseUs(): number {
    return this.#motion.numbers[this.#motion.pulseAt]!;
  }

  /** Counts up with every new plan, so that whoever waits for a move sees that it was replaced. */
  plans = 0;
  /** The plan in hand came from a jog: the next jog counts from its target. */
  jogging = false;
  /** The direction in which it still feels, sent elsewhere meanwhile: 1, -1, or 0. */
  #outwards = 0;
  readonly #motion: Motion;
  #bounds: PulseBounds;
  #envelope: PulseBounds;
  readonly #stepUs: number;

  constructor(
    name: string,
    index: number,
    spec: ServoChannel,
    board: Board,
    rail: number,
    motion: Motion,
  ) {
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
    this.draw = spec.draw ?? { idleA: 0, movingA: 0, stallA: 0 };
    this.parkTo = spec.park.to;
    this.parkThen = spec.park.then;
    this.#stepUs = board.driver.pulseStepUs;
    this.#bounds = this.#boundsOf(this.limitsDeg);
    this.#envelope = this.#boundsOf(this.envelopeDeg);
    this.#motion = motion;
    this.state = motion;
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
        draw: this.draw,
        parkDeg: this.parkDeg,
      },
    });
  }

  get parkDeg(): number {
    return typeof this.parkTo === 'number' ? this.parkTo : this.marks.get(this.parkTo)!;
  }

  /** Where parking brings it (deg): a park under way keeps to where it began to go. */
  get homeDeg(): number {
    return this.parkingToDeg ?? this.parkDeg;
  }

  /** The angles (deg) at the ends of the pulse envelope, low then high. */
  get envelopeDeg(): readonly [number, number] {
    return this.mapping.envelopeDeg;
  }

  get moving(): boolean {
    return this.#motion.moving;
  }

  get target(): number {
    return this.#motion.target;
  }

  get atPark(): boolean {
    return !this.moving && Math.abs(this.state.pos - this.homeDeg) < 1e-6;
  }

  /** What is outside the new limits decelerates and stays there: the pulse never jumps. */
  setLimits(limitsDeg: readonly [number, number]): void {
    this.#bounds = this.#boundsOf(limitsDeg);
    this.limitsDeg = limitsDeg;
    if (!this.#within(this.target)) this.halt();
    this.beyond = !this.#within(this.state.pos) || !this.#within(this.target);
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
    if (this.#pushing && !pushing) this.#freedDeg = this.state.pos;
    this.#pushing = pushing;
  }

  /**
   * The angle (deg) that would do as a limit while it pushes outwards, up for 1 and down for -1:
   * where it stopped pushing last, or stood without; undefined when it never did on this side.
   */
  freeDeg(outwards: 1 | -1): number | undefined {
    const { pos } = this.state;
    return [this.#freedDeg, this.#freeDeg].find((deg) => (pos - deg) * outwards > 0);
  }

  /**
   * The way to `deg` from wherever it is now, without taking it. Feeling for the stop all of it is
   * slow; coming back from there, the way to the limit.
   */
  plan(deg: number, minDurationS = 0, feeling = false): Trajectory {
    const { state, limits } = this;
    if (!(feeling || this.beyond) || limits.speed <= FEEL_SPEED_DEG_S)
      return planMove(state, deg, limits, minDurationS);
    const slow = planMove(state, deg, { ...limits, speed: FEEL_SPEED_DEG_S }, minDurationS);
    // As slow as asked for it is slow all the way.
    if (feeling || slow.durationS <= minDurationS) return slow;
    const insideS = this.#insideAfterS(slow);
    if (insideS === undefined) return slow;
    const there = { pos: 0, vel: 0, acc: 0 };
    sample(slow, insideS, there);
    return joined(slow, insideS, planMove(there, deg, limits, minDurationS - insideS));
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
      const stop = planStop(this.state, this.limits);
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
    return planEased(this.state.pos, deg, ease, durationS, this.limits).trajectory;
  }

  /** Follows a plan from now on; on its way out it goes on feeling until it has turned round. */
  take(trajectory: Trajectory): void {
    // Only now: that it pushes shows a moment after it has come to stand.
    if (!this.moving && !this.#pushing) this.#freeDeg = this.state.pos;
    if (this.feeling) this.#outwards = this.#goesOut() ? Math.sign(this.state.vel) : 0;
    this.feeling = this.#outwards !== 0;
    this.#motion.follow(trajectory);
    this.plans++;
    this.jogging = false;
    this.interlocked = false;
    this.delayed = false;
  }

  /** As `take`, of a step that may leave the soft limits. */
  feel(trajectory: Trajectory): void {
    this.take(trajectory);
    this.jogging = true;
    this.feeling = true;
    this.#outwards = 0;
  }

  #goesOut(): boolean {
    const [low, high] = this.limitsDeg;
    const { pos, vel } = this.state;
    if (vel > 0) return Math.max(pos, this.target) > high;
    return vel < 0 && Math.min(pos, this.target) < low;
  }

  /** Decelerates within the limits and stays there. */
  halt(): void {
    if (!this.moving) return;
    this.take(planStop(this.state, this.limits));
  }

  /** Stops at once where it is, for power that is cut anyway. */
  freeze(): void {
    if (this.moving) this.plans++;
    this.#motion.rest();
    this.jogging = false;
    this.feeling = false;
    this.#outwards = 0;
  }

  /** It stands at `deg`, as somebody remembers; no pulse is sent. */
  standAt(deg: number): void {
    this.#motion.restAt(deg);
  }

  /** Starts the pulses at `deg`: its last known position, or where an unknown one is sent first. */
  energise(deg: number, settleUntilS: number): void {
    if (!this.known) this.jumpUntilS = settleUntilS;
    this.#freedDeg = Number.NaN;
    this.#freeDeg = Number.NaN;
    this.energised = true;
    this.known = true;
    this.settleUntilS = settleUntilS;
    this.#motion.restAt(deg);
    this.beyond = !this.#within(deg);
  }

  /** Goes on where `other`, the same servo by an earlier version of the file, stands. */
  resume(other: Servo, pulsesGoOn: boolean): void {
    this.#motion.restAt(other.state.pos);
    this.known = other.known;
    this.energised = pulsesGoOn && other.energised;
    this.settleUntilS = other.settleUntilS;
    this.jumpUntilS = other.jumpUntilS;
    this.beyond = this.energised && !this.#within(other.state.pos);
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
    if (this.energised && (!this.atPark || nowS < this.jumpUntilS)) this.known = false;
    this.freeze();
    this.energised = false;
    this.beyond = false;
  }

  /** @param time how far it goes on (s), such as that of `Body` */
  advance(time: { readonly dtS: number }): void {
    if (!this.moving) return;
    this.#motion.advance(time);
    if (this.#outwards !== 0 && this.state.vel * this.#outwards <= 0) {
      this.#outwards = 0;
      this.feeling = false;
    }
    if (!this.moving) {
      this.jogging = false;
      this.feeling = false;
      this.#outwards = 0;
      if (this.#within(this.state.pos)) this.beyond = false;
    }
  }

  /** Notes the pulse of this tick, rounded so that the limits hold for the pulse as well. */
  put(): void {
    const { numbers, pulseAt } = this.#motion;
    const bounds = this.beyond ? this.#envelope : this.#bounds;
    if (this.energised) bounds.writePulseUs(this.state, numbers, pulseAt);
    else numbers[pulseAt] = 0;
    this.board.putAt(this.output, numbers, pulseAt);
  }

  /** Writes what the telemetry tells of it, from `at` on. */
  writeState(into: Float64Array, at: number, time: { readonly nowS: number }): void {
    into[at + FIELD.value] = this.state.pos;
    into[at + FIELD.target] = this.target;
    into[at + FIELD.pulseUs] = this.pulseUs;
    this.writeAmps(into, at + FIELD.amps, time);
  }

  /** The pulse (us) at `deg`, whether it is energised or not. */
  pulseAt(deg: number): number {
    return this.#envelope.pulseUs(deg);
  }

  /** Estimated draw (A) at a time, such as that of `Body`. */
  amps(time: { readonly nowS: number }): number {
    this.writeAmps(amps, 0, time);
    return amps[0]!;
  }

  /** As `amps`, written to a place: handed back, a fraction may be allocated. */
  writeAmps(into: Float64Array, at: number, { nowS }: { readonly nowS: number }): void {
    const { draw } = this;
    if (!this.energised) into[at] = 0;
    else if (this.pushing) into[at] = draw.stallA;
    else if (this.moving || nowS < this.settleUntilS) into[at] = draw.movingA;
    else into[at] = draw.idleA;
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
