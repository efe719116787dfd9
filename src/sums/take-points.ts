import { clamp } from '../shared/units.ts';
import { TakeCurve } from './take-curve.ts';
import { curvePoints } from './take-simplify.ts';

/** Changes of a performed movement: each makes new points, and leaves the given ones as they are. */

/** Times (s), each later than the one before, and the angle (deg) at each of them. */
export interface TakePoints {
  readonly timesS: readonly number[];
  readonly deg: readonly number[];
}

/** Samples a second of a recorded movement: as many as pulses that a hobby servo gets. */
export const TAKE_HZ = 50;

/** Times closer than this are the same (s). */
const SAME_S = 1e-6;

/** The part between two times (s), which begins at 0. At both ends it has a point of its own. */
export function trim(points: TakePoints, fromS: number, toS: number): TakePoints {
  const curve = new TakeCurve(points.timesS, points.deg);
  const timesS = [0];
  const deg = [curve.at(fromS)];
  for (const [i, atS] of points.timesS.entries()) {
    if (atS <= fromS + SAME_S || atS >= toS - SAME_S) continue;
    timesS.push(atS - fromS);
    deg.push(points.deg[i]!);
  }
  if (toS > fromS + SAME_S) {
    timesS.push(toS - fromS);
    deg.push(curve.at(toS));
  }
  return { timesS, deg };
}

/** Later by some time (s) and higher by some degrees. What would begin before 0 must be trimmed first. */
export function shift({ timesS, deg }: TakePoints, byS: number, byDeg: number): TakePoints {
  return { timesS: timesS.map((one) => one + byS), deg: deg.map((one) => one + byDeg) };
}

/** Wider by a factor, about an angle (deg); narrower where the factor is below 1. */
export function scale({ timesS, deg }: TakePoints, by: number, aboutDeg: number): TakePoints {
  return { timesS: [...timesS], deg: deg.map((one) => aboutDeg + by * (one - aboutDeg)) };
}

/** The other way round, about an angle (deg): for the servo on the other side of a prop. */
export function mirror(points: TakePoints, aboutDeg: number): TakePoints {
  return scale(points, -1, aboutDeg);
}

/** At even times: the first and the last stay, and there are so many points in a second. */
export function resample(points: TakePoints, hz: number): TakePoints {
  const { timesS, deg } = points;
  const fromS = timesS[0]!;
  const lastsS = timesS.at(-1)! - fromS;
  const count = Math.max(1, Math.round(lastsS * hz));
  if (lastsS < SAME_S) return { timesS: [fromS], deg: [deg[0]!] };
  const curve = new TakeCurve(timesS, deg);
  const even = Array.from({ length: count + 1 }, (_, i) => fromS + (i * lastsS) / count);
  return { timesS: even, deg: even.map((one) => curve.at(one)) };
}

/**
 * The weights of a smoothing filter of 2 m + 1 points: the value in the middle of the quadratic, or
 * cubic, that fits them best (A. Savitzky and M. J. E. Golay, "Smoothing and Differentiation of Data by
 * Simplified Least Squares Procedures", Analytical Chemistry 36, 1964, pp. 1627-1639, table I; the closed
 * form is from the normal equations, whose sums of powers are known). They add up to 1.
 */
export function savitzkyGolay(m: number): Float64Array {
  const weights = new Float64Array(2 * m + 1);
  if (m === 0) return weights.fill(1);
  const sum = ((2 * m - 1) * (2 * m + 1) * (2 * m + 3)) / 3;
  for (let i = -m; i <= m; i++) weights[i + m] = (3 * m * m + 3 * m - 1 - 5 * i * i) / sum;
  return weights;
}

/**
 * Smoother: each point becomes what a quadratic fits best to it and its neighbours at even times (see
 * `savitzkyGolay`); near the ends there are fewer neighbours, and the ends themselves stay. It stays within
 * the angles that were performed.
 * @param windowS how far the neighbours reach to both sides together (s)
 * @param hz points in a second of the result
 */
export function smooth(points: TakePoints, windowS: number, hz: number): TakePoints {
  const { timesS, deg } = resample(points, hz);
  const low = deg.reduce((least, one) => Math.min(least, one));
  const high = deg.reduce((most, one) => Math.max(most, one));
  const most = Math.floor((windowS * hz) / 2 + 1e-9);
  const filters = Array.from({ length: most + 1 }, (_, m) => savitzkyGolay(m));
  const last = deg.length - 1;
  return {
    timesS,
    deg: deg.map((_, at) => {
      const m = Math.min(most, at, last - at);
      const sum = filters[m]!.reduce((all, weight, i) => all + weight * deg[at - m + i]!, 0);
      return clamp(sum, low, high);
    }),
  };
}

/** What may become of a movement, in this order; times in s, angles in deg. */
export interface TakeChanges {
  /** Smoothed over this time (s). */
  smoothS?: number | undefined;
  /** Wider by a factor, about `aboutDeg`; without that about where it begins. */
  scale?: number | undefined;
  aboutDeg?: number | undefined;
  /** The other way round, about this angle. */
  mirrorDeg?: number | undefined;
  /** Higher by so much. */
  shiftDeg?: number | undefined;
}

/** A movement with all changes made. */
export function changed(
  points: TakePoints,
  { smoothS, scale: by, aboutDeg, mirrorDeg, shiftDeg }: TakeChanges,
): TakePoints {
  let next = points;
  if (smoothS) next = smooth(next, smoothS, TAKE_HZ);
  if (by !== undefined) next = scale(next, by, aboutDeg ?? points.deg[0]!);
  if (mirrorDeg !== undefined) next = mirror(next, mirrorDeg);
  if (shiftDeg !== undefined) next = shift(next, 0, shiftDeg);
  return next;
}

/**
 * With no more points than it takes to stay within a tolerance (deg) of the movement.
 * @param most how many there may be
 * @returns undefined where there would be more
 */
export function simplified(
  points: TakePoints,
  toleranceDeg: number,
  most: number,
): TakePoints | undefined {
  const { timesS, deg } = resample(points, TAKE_HZ);
  const stepS = timesS.length > 1 ? timesS[1]! - timesS[0]! : 1;
  const kept = curvePoints(deg, stepS, toleranceDeg, most);
  return kept && { timesS: kept.map((i) => timesS[i]!), deg: kept.map((i) => deg[i]!) };
}

/**
 * The largest difference (deg) between a movement from `fromS` on and what was made of it, which begins at
 * 0, at any of 50 moments in a second until the later end.
 */
export function largestDifference(before: TakePoints, fromS: number, after: TakePoints): number {
  const [one, other] = [before, after].map(({ timesS, deg }) => new TakeCurve(timesS, deg));
  const toS = other!.durationS;
  const count = Math.max(1, Math.round(toS * TAKE_HZ));
  let largest = 0;
  for (let i = 0; i <= count; i++) {
    const atS = (i * toS) / count;
    largest = Math.max(largest, Math.abs(one!.at(fromS + atS) - other!.at(atS)));
  }
  return largest;
}
