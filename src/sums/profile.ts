import { doubleSMove, doubleSStop } from './profile-double-s.ts';
import { Path, posAfter, STRIDE, velAfter } from './profile-path.ts';
import { trapezoidMove, trapezoidStop } from './profile-trapezoid.ts';

/**
 * Motion profiles of one axis, from any state to rest at a target. Any consistent units will do; Sinew
 * uses deg and s.
 *
 * Without jerk the profile is the trapezoid, time-optimal within speed and acceleration. With jerk it is
 * the double S, generalised to any initial state and time-optimal within speed, acceleration and jerk.
 * For formulas, sources and proofs see profile-trapezoid.ts and profile-double-s.ts.
 *
 * Soft limits: a move stays within the hull of its target and of the positions that `planStop` from the
 * same state passes. The stop from each point of it stays within that hull too: it ends between the end
 * of the first stop and the target. So as long as the motion began at rest inside the limits, every
 * target lies inside them, and accel and jerk stay the same, the limits hold whenever and however often
 * the move is retargeted or stopped. The speed limit may change.
 */

/** Highest speed (deg/s), acceleration (deg/s2) and, optionally, jerk (deg/s3); all above 0. */
export interface MotionLimits {
  speed: number;
  accel: number;
  jerk?: number;
}

/** Position (deg), velocity (deg/s), acceleration (deg/s2). */
export interface MotionState {
  pos: number;
  vel: number;
  acc: number;
}

/** A planned motion: segments of constant jerk, then rest at `endPos`. Read it with `sample`. */
export interface Trajectory {
  /** Time until it rests at `endPos` (s). */
  readonly durationS: number;
  /** Where it rests (deg). */
  readonly endPos: number;
  /** Per segment: start (s), then position, velocity, acceleration there, and the jerk throughout. */
  readonly segments: Float64Array;
}

const path = new Path();

/** Up to 8 segments are searched one by one. */
const MAX_LINEAR = 8 * STRIDE;

/**
 * The fastest move from `from` to rest at `to` within `limits`. Without a jerk limit, `from.acc` is
 * ignored. A state beyond the limits is brought within them as fast as possible.
 *
 * @param minDurationS if this is longer than the fastest move, the move cruises more slowly, so that it
 * ends at exactly this time; it brakes first where it must overshoot. If the stop alone ends at `to`, it
 * rests there until then.
 * @throws RangeError for a limit that is not finite and above 0, for any other number that is not finite,
 * and for numbers so large that the result overflows.
 */
export function planMove(
  from: Readonly<MotionState>,
  target: number,
  limits: MotionLimits,
  minDurationS = 0,
): Trajectory {
  checkMotion(from, limits);
  checkFinite('target', target);
  checkFinite('minimum duration', minDurationS);
  const { pos, vel, acc } = from;
  const { speed, accel, jerk } = limits;
  if (jerk === undefined) trapezoidMove(path, pos, vel, target, speed, accel, minDurationS);
  else doubleSMove(path, pos, vel, acc, target, speed, accel, jerk, minDurationS);
  path.restUntil(minDurationS);
  return { durationS: path.timeS, endPos: target, segments: path.segments() };
}

/**
 * The fastest stop: decelerates to rest within accel and jerk, wherever that is.
 *
 * @throws RangeError as `planMove` does.
 */
export function planStop(from: Readonly<MotionState>, limits: MotionLimits): Trajectory {
  checkMotion(from, limits);
  const { pos, vel, acc } = from;
  const { accel, jerk } = limits;
  if (jerk === undefined) trapezoidStop(path, pos, vel, accel);
  else doubleSStop(path, pos, vel, acc, accel, jerk);
  return { durationS: path.timeS, endPos: path.endPos, segments: path.segments() };
}

/**
 * The state `atS` seconds after the start, into `into`. Before the start it is the first state, from
 * `durationS` on exactly rest at `endPos`. Allocates nothing.
 */
export function sample(trajectory: Trajectory, atS: number, into: MotionState): void {
  const { segments } = trajectory;
  if (!(atS < trajectory.durationS) || segments.length === 0) {
    into.pos = trajectory.endPos;
    into.vel = 0;
    into.acc = 0;
    return;
  }
  let at = 0;
  let end = segments.length;
  // Binary search while there are many segments; a few are quicker one by one.
  while (end - at > MAX_LINEAR) {
    const mid = at + STRIDE * Math.floor((end - at) / (2 * STRIDE));
    if (segments[mid]! <= atS) at = mid;
    else end = mid;
  }
  while (at + STRIDE < segments.length && segments[at + STRIDE]! <= atS) at += STRIDE;
  const t = Math.max(atS - segments[at]!, 0);
  const vel = segments[at + 2]!;
  const acc = segments[at + 3]!;
  const jerk = segments[at + 4]!;
  into.pos = posAfter(t, segments[at + 1]!, vel, acc, jerk);
  into.vel = velAfter(t, vel, acc, jerk);
  into.acc = acc + t * jerk;
}

/** @throws RangeError for a limit that is not finite and above 0, or a state that is not finite. */
export function checkMotion(from: Readonly<MotionState>, limits: MotionLimits): void {
  limit('speed', limits.speed);
  limit('accel', limits.accel);
  if (limits.jerk !== undefined) limit('jerk', limits.jerk);
  checkFinite('position', from.pos);
  checkFinite('velocity', from.vel);
  checkFinite('acceleration', from.acc);
}

function limit(name: string, value: number): void {
  if (!(value > 0) || !Number.isFinite(value)) {
    throw new RangeError(`${name} limit ${value} must be a finite number above 0`);
  }
}

/** @throws RangeError that names the number when it is not finite. */
export function checkFinite(name: string, value: number): void {
  if (!Number.isFinite(value)) throw new RangeError(`${name} ${value} must be a finite number`);
}

/** The same motion, begun after a time at rest (s); for a motion that starts from rest. */
export function later(trajectory: Trajectory, restS: number, pos: number): Trajectory {
  if (restS <= 0) return trajectory;
  const { segments, durationS, endPos } = trajectory;
  const delayed = new Float64Array(segments.length + STRIDE);
  delayed[1] = pos;
  delayed.set(segments, STRIDE);
  for (let i = STRIDE; i < delayed.length; i += STRIDE) delayed[i]! += restS;
  return { durationS: durationS + restS, endPos, segments: delayed };
}

/** The lowest and the highest position of a motion (deg), where it rests included. */
export function reachOf({ segments, durationS, endPos }: Trajectory): [low: number, high: number] {
  let low = endPos;
  let high = endPos;
  const reach = (pos: number): void => {
    low = Math.min(low, pos);
    high = Math.max(high, pos);
  };
  for (let i = 0; i < segments.length; i += STRIDE) {
    const lasts = Math.min(segments[i + STRIDE] ?? durationS, durationS) - segments[i]!;
    const [pos, v, a, j] = [segments[i + 1]!, segments[i + 2]!, segments[i + 3]!, segments[i + 4]!];
    reach(pos);
    // Where its velocity, v + a t + j t2 / 2, is 0.
    const root = a * a - 2 * j * v;
    const turns =
      j === 0 || root < 0 ? [-v / a] : [(-a + Math.sqrt(root)) / j, (-a - Math.sqrt(root)) / j];
    for (const t of turns) if (t > 0 && t < lasts) reach(posAfter(t, pos, v, a, j));
  }
  return [low, high];
}

/** When a motion that begins with a velocity first reverses (s); undefined where it never does. */
export function turnsAfterS({ segments, durationS }: Trajectory, vel: number): number | undefined {
  const sign = Math.sign(vel);
  if (sign === 0) return undefined;
  for (let i = 0; i < segments.length; i += STRIDE) {
    const fromS = segments[i]!;
    const untilS = Math.min(segments[i + STRIDE] ?? durationS, durationS);
    const [v, a, j] = [segments[i + 2]! * sign, segments[i + 3]! * sign, segments[i + 4]! * sign];
    const lasts = untilS - fromS;
    if (v < -SLOW) return fromS;
    if (velAfter(lasts, v, a, j) >= -SLOW) continue;
    // Bisection to the microsecond: the velocity passes through zero within this segment.
    let [low, high] = [0, lasts];
    while (high - low > 1e-6) {
      const middle = (low + high) / 2;
      if (velAfter(middle, v, a, j) >= 0) low = middle;
      else high = middle;
    }
    return fromS + high;
  }
  return undefined;
}

/** Slower than this is rounding (deg/s). */
const SLOW = 1e-6;
