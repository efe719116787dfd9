/** Curves with fewer points. */

/** A curve of one or more values: between its points, each goes in a straight line. */
export interface Curve {
  /** Times (s), rising. */
  tS: number[];
  /** The values by dimension, each as long as `tS`. */
  values: number[][];
}

/**
 * Which points of a curve are enough for all values to stay within `tolerance` at every point left out:
 * the cone-intersection method (Williams 1978, "An efficient algorithm for the piecewise linear
 * approximation of planar curves", from memory), one pass, each kept point as late as can be.
 * @param tolerance in the unit of the values, above 0
 * @returns places of the points that are kept, first and last included
 */
export function keptPoints({ tS, values }: Curve, tolerance: number): number[] {
  const count = tS.length;
  if (count <= 2) return tS.map((_, i) => i);
  const kept = [0];
  const dimensions = values.length;
  const low = new Float64Array(dimensions);
  const high = new Float64Array(dimensions);
  let from = 0;
  const open = () => {
    low.fill(Number.NEGATIVE_INFINITY);
    high.fill(Number.POSITIVE_INFINITY);
  };
  const reaches = (i: number): boolean => {
    const overS = tS[i]! - tS[from]!;
    for (let d = 0; d < dimensions; d++) {
      const slope = (values[d]![i]! - values[d]![from]!) / overS;
      if (slope < low[d]! || slope > high[d]!) return false;
    }
    return true;
  };
  open();
  for (let i = 1; i < count; i++) {
    if (!reaches(i)) {
      from = i - 1;
      kept.push(from);
      open();
    }
    const overS = tS[i]! - tS[from]!;
    for (let d = 0; d < dimensions; d++) {
      const rise = values[d]![i]! - values[d]![from]!;
      low[d] = Math.max(low[d]!, (rise - tolerance) / overS);
      high[d] = Math.min(high[d]!, (rise + tolerance) / overS);
    }
  }
  kept.push(count - 1);
  return kept;
}

/**
 * A curve of straight lines from samples that hold until the next: a value that stays for longer than a
 * tick gets a second point, a tick before it changes.
 * @param endS until when the last value holds
 */
export function straight(
  tS: readonly number[],
  values: readonly (readonly number[])[],
  tickS: number,
  endS: number,
): Curve {
  const times: number[] = [];
  const lines: number[][] = values.map(() => []);
  const put = (atS: number, i: number) => {
    times.push(atS);
    for (const [d, line] of lines.entries()) line.push(values[d]![i]!);
  };
  for (const [i, atS] of tS.entries()) {
    const before = times.at(-1);
    if (before !== undefined && atS - before > 1.5 * tickS) put(atS - tickS, i - 1);
    put(atS, i);
  }
  if (times.length > 0 && endS - times.at(-1)! > tickS / 2) put(endS, tS.length - 1);
  return { tS: times, values: lines };
}
