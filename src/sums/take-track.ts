import {
  type MotionLimits,
  type MotionState,
  planMove,
  sample,
  type Trajectory,
} from './profile.ts';
import { STRIDE } from './profile-path.ts';
import type { TakeCurve } from './take-curve.ts';
import { keepsLimits, nearestSpline } from './take-fit.ts';

/** A performed movement of one servo as it plays: within all limits, at rest at both ends. */
export interface TakeTrack {
  /** Where it begins (deg). */
  startDeg: number;
  /** The lowest and the highest angle on its way (deg). */
  rangeDeg: readonly [low: number, high: number];
  /** What it keeps to. */
  limits: MotionLimits;
  trajectory: Trajectory;
  /** When its motor starts, or turns round (s). */
  startsS: Float64Array;
}

/** The time between two knots (s): two of them to each point of a recording. */
export const KNOT_S = 0.01;
/** Pieces of the shortest and of the longest track. */
const MIN_PIECES = 6;
const MAX_PIECES = 61_000;
/** A straight way keeps to this share of its limits, and has so much more time than it needs. */
const SPARE = 0.999;
const SPARE_TIME = 1.01;
/** A track may leave what was performed by this much (deg), within the soft limits. */
const EDGE_DEG = 0.02;
/** Slower than this a motor stands still (deg/s). */
const STILL_DEG_S = 0.01;

/**
 * What a servo does to play a performed movement: the nearest motion within its limits (see take-fit.ts).
 * It takes as long as the movement at this rate, except where its limits do not even allow that for the
 * way from the first to the last angle.
 * @param rate how much faster than performed
 * @param softDeg its soft limits; a movement that leaves them is followed, for whoever checks it
 * @returns undefined where it would be longer than 10 minutes
 */
export function trackOf(
  curve: TakeCurve,
  rate: number,
  limits: MotionLimits,
  softDeg: readonly [number, number],
): TakeTrack | undefined {
  const from = curve.deg[0]!;
  const to = curve.deg.at(-1)!;
  const [lowest, highest] = curve.rangeDeg;
  if (lowest === highest) return still(from, limits);
  const [low, high] = boundsOf(lowest, highest, softDeg);
  const rest = { pos: from, vel: 0, acc: 0 };
  const leastS = planMove(rest, to, limits).durationS;
  const performedS = curve.durationS / rate;
  let pieces = Math.max(MIN_PIECES, Math.ceil(performedS / KNOT_S - 1e-9));
  let h = performedS / pieces;
  // Samples of any motion within the limits, with rest around it, are a spline within them.
  if (leastS * SPARE_TIME > (pieces - 2) * h) {
    pieces = Math.max(MIN_PIECES, Math.ceil((leastS * SPARE_TIME) / KNOT_S) + 3);
    h = KNOT_S;
  }
  if (!(pieces <= MAX_PIECES)) return undefined;
  const wanted = new Float64Array(pieces + 1);
  for (let k = 0; k <= pieces; k++) wanted[k] = curve.at(k * h * rate);
  wanted[pieces] = to;
  const { speed, accel, jerk } = limits;
  const bounds = { low, high, speed, accel, jerk };
  const points = nearestSpline(wanted, h, bounds) ?? straight(from, to, pieces, h, limits);
  if (!keepsLimits(points, h, bounds)) return undefined;
  return made(points, h, limits, from, to);
}

function still(deg: number, limits: MotionLimits): TakeTrack {
  const trajectory = { durationS: 0, endPos: deg, segments: new Float64Array(0) };
  return { startDeg: deg, rangeDeg: [deg, deg], limits, trajectory, startsS: new Float64Array(0) };
}

function boundsOf(
  lowest: number,
  highest: number,
  [softLow, softHigh]: readonly [number, number],
): [number, number] {
  const low = lowest - EDGE_DEG;
  const high = highest + EDGE_DEG;
  return [
    lowest >= softLow ? Math.max(low, softLow) : low,
    highest <= softHigh ? Math.min(high, softHigh) : high,
  ];
}

/** Straight from the first to the last angle, as slowly as there is time. */
function straight(
  from: number,
  to: number,
  pieces: number,
  h: number,
  limits: MotionLimits,
): Float64Array {
  const { speed, accel, jerk } = limits;
  // At a limit itself, rounding would be beyond it.
  const below = {
    speed: speed * SPARE,
    accel: accel * SPARE,
    ...(jerk !== undefined && { jerk: jerk * SPARE }),
  };
  const way = planMove({ pos: from, vel: 0, acc: 0 }, to, below, (pieces - 2) * h);
  const at: MotionState = { pos: 0, vel: 0, acc: 0 };
  return Float64Array.from({ length: pieces + 3 }, (_, i) => {
    sample(way, (i - 2) * h, at);
    return i <= 2 ? from : at.pos;
  });
}

/** The track that these control points make. */
function made(
  c: Float64Array,
  h: number,
  limits: MotionLimits,
  from: number,
  to: number,
): TakeTrack {
  const pieces = c.length - 3;
  // Another thread can read it without a copy.
  const shared = new SharedArrayBuffer(pieces * STRIDE * Float64Array.BYTES_PER_ELEMENT);
  const segments = new Float64Array(shared);
  let low = from;
  let high = from;
  const startsS: number[] = [];
  let direction = 0;
  for (let k = 0; k < pieces; k++) {
    const [c0, c1, c2, c3] = [c[k]!, c[k + 1]!, c[k + 2]!, c[k + 3]!];
    const vel = (c2 - c0) / (2 * h);
    segments[k * STRIDE] = k * h;
    segments[k * STRIDE + 1] = (c0 + 4 * c1 + c2) / 6;
    segments[k * STRIDE + 2] = vel;
    segments[k * STRIDE + 3] = (c0 - 2 * c1 + c2) / (h * h);
    segments[k * STRIDE + 4] = (c3 - 3 * c2 + 3 * c1 - c0) / (h * h * h);
    const [first, second] = [(2 * c1 + c2) / 3, (c1 + 2 * c2) / 3];
    low = Math.min(low, first, second);
    high = Math.max(high, first, second);
    const middle = (c2 - c1) / h;
    const now = Math.abs(middle) < STILL_DEG_S ? 0 : Math.sign(middle);
    if (now !== 0 && now !== direction) startsS.push(k * h);
    direction = now;
  }
  return {
    startDeg: from,
    rangeDeg: [low, high],
    limits,
    trajectory: { durationS: pieces * h, endPos: to, segments },
    startsS: Float64Array.from(startsS),
  };
}

/** Where a track is furthest from what was performed. */
export interface Deviation {
  /** How far it is away there (deg). */
  deg: number;
  /** When (s), as it plays. */
  atS: number;
  /** How much later, or, below 0, earlier, it comes by there (s); undefined where it never does. */
  lateS: number | undefined;
}

/** A place that is passed this much later or earlier (s) is not looked for. */
const LATEST_S = 3;

/** How far a track is from the movement that it plays, where that is furthest. */
export function deviationOf(track: TakeTrack, curve: TakeCurve, rate: number): Deviation {
  const { trajectory } = track;
  const state: MotionState = { pos: 0, vel: 0, acc: 0 };
  const lasts = Math.max(trajectory.durationS, curve.durationS / rate);
  const positionAt = (atS: number): number => {
    sample(trajectory, Math.max(0, atS), state);
    return state.pos;
  };
  let deg = 0;
  let worstS = 0;
  const count = Math.ceil(lasts / KNOT_S);
  for (let i = 0; i <= count; i++) {
    const atS = Math.min(i * KNOT_S, lasts);
    const away = Math.abs(positionAt(atS) - curve.at(atS * rate));
    if (away > deg) [deg, worstS] = [away, atS];
  }
  const wanted = curve.at(worstS * rate);
  const step = KNOT_S / 2;
  for (let away = 0; away <= LATEST_S; away += step)
    for (const lateS of [away, -away]) {
      const before = positionAt(worstS + lateS - step) - wanted;
      const after = positionAt(worstS + lateS + step) - wanted;
      if (before * after <= 0) return { deg, atS: worstS, lateS };
    }
  return { deg, atS: worstS, lateS: undefined };
}
