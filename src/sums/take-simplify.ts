import { TakeCurve } from './take-curve.ts';

/**
 * The places of the samples that remain when straight lines between them are to be within a tolerance of
 * all samples: the method of cones, in one pass (J. Sklansky and V. Gonzalez, "Fast polygonal approximation
 * of digitized curves", Pattern Recognition 12, 1980, pp. 327-331; from memory). From the last point kept,
 * every sample leaves a cone of slopes that pass near enough; a sample outside of what is left ends the line
 * at the one before it. The work grows in proportion to the samples, however wild they are.
 * @param deg samples in equal steps of time (deg), one or more
 * @param toleranceDeg how far a line may be from a sample (deg)
 */
export function linePoints(deg: ArrayLike<number>, toleranceDeg: number): number[] {
  const last = deg.length - 1;
  const kept = [0];
  let from = 0;
  let low = Number.NEGATIVE_INFINITY;
  let high = Number.POSITIVE_INFINITY;
  for (let i = 1; i <= last; i++) {
    const rise = deg[i]! - deg[from]!;
    if (rise / (i - from) < low || rise / (i - from) > high) {
      from = i - 1;
      kept.push(from);
      low = Number.NEGATIVE_INFINITY;
      high = Number.POSITIVE_INFINITY;
    }
    const over = deg[i]! - deg[from]!;
    low = Math.max(low, (over - toleranceDeg) / (i - from));
    high = Math.min(high, (over + toleranceDeg) / (i - from));
  }
  if (last > 0) kept.push(last);
  return kept;
}

/**
 * The places of the samples that remain when the curve through them, as a take is played, is to be within a
 * tolerance of all samples. Where the curve leaves that, the furthest sample between two points is kept as
 * well, until there is none.
 * @param stepS time from sample to sample (s)
 * @param most how many there may be
 * @returns undefined where there would be more
 */
export function curvePoints(
  deg: ArrayLike<number>,
  stepS: number,
  toleranceDeg: number,
  most: number,
): number[] | undefined {
  let kept = linePoints(deg, toleranceDeg);
  for (;;) {
    if (kept.length > most) return undefined;
    const more = furthest(deg, stepS, toleranceDeg, kept);
    if (more.length === 0) return kept;
    kept = [...kept, ...more].sort((a, b) => a - b);
  }
}

/** Rounding alone (deg). */
const SAME_DEG = 1e-9;

/** Between each two of the points, the sample that is furthest from the curve, where that is too far. */
function furthest(
  deg: ArrayLike<number>,
  stepS: number,
  toleranceDeg: number,
  kept: readonly number[],
): number[] {
  const curve = new TakeCurve(
    kept.map((i) => i * stepS),
    kept.map((i) => deg[i]!),
  );
  const more: number[] = [];
  for (let k = 0; k + 1 < kept.length; k++) {
    let far = -1;
    let farDeg = toleranceDeg + SAME_DEG;
    for (let i = kept[k]! + 1; i < kept[k + 1]!; i++) {
      const off = Math.abs(curve.at(i * stepS) - deg[i]!);
      if (off > farDeg) [far, farDeg] = [i, off];
    }
    if (far >= 0) more.push(far);
  }
  return more;
}
