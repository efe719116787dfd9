import { clamp } from '../shared/units.ts';

/**
 * The positions of a performed movement between its points: monotone piecewise cubic Hermite
 * interpolation (F. N. Fritsch and R. E. Carlson, "Monotone Piecewise Cubic Interpolation", SIAM Journal
 * on Numerical Analysis 17, 1980, pp. 238-246; from memory). The curve and its slope are continuous, and
 * between two points it never leaves their angles: a point that was removed cannot bring a servo further
 * than it was performed. The slopes to begin with are the means of those on both sides (section 4), and 0
 * at both ends, where a servo rests.
 */
export class TakeCurve {
  readonly timesS: readonly number[];
  readonly deg: readonly number[];
  /** deg/s at each point. */
  readonly slopes: Float64Array;

  /**
   * @param timesS each later than the one before (s); one point or more
   * @param deg the angle at each of them
   */
  constructor(timesS: readonly number[], deg: readonly number[]) {
    this.timesS = timesS;
    this.deg = deg;
    this.slopes = slopesOf(timesS, deg);
  }

  /** When it ends (s). */
  get durationS(): number {
    return this.timesS.at(-1) ?? 0;
  }

  /** The angle (deg) at a time (s); before its first point and after its last it stands there. */
  at(atS: number): number {
    const { timesS, deg, slopes } = this;
    const last = timesS.length - 1;
    if (!(atS > timesS[0]!)) return deg[0]!;
    if (atS >= timesS[last]!) return deg[last]!;
    let low = 0;
    let high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (timesS[middle]! <= atS) low = middle;
      else high = middle;
    }
    const lasts = timesS[high]! - timesS[low]!;
    const u = (atS - timesS[low]!) / lasts;
    const rise = deg[high]! - deg[low]!;
    const from = slopes[low]! * lasts;
    const to = slopes[high]! * lasts;
    const up = u * (from + u * (3 * rise - 2 * from - to + u * (from + to - 2 * rise)));
    // Rounding alone would leave the angles of the two points.
    return clamp(deg[low]! + up, Math.min(deg[low]!, deg[high]!), Math.max(deg[low]!, deg[high]!));
  }

  /** The lowest and the highest angle (deg): both are at its points. */
  get rangeDeg(): [low: number, high: number] {
    let low = Number.POSITIVE_INFINITY;
    let high = Number.NEGATIVE_INFINITY;
    for (const one of this.deg) {
      low = Math.min(low, one);
      high = Math.max(high, one);
    }
    return [low, high];
  }
}

/** The circle within which slopes, as multiples of the secant, keep the curve monotone (section 4). */
const RADIUS = 3;

function slopesOf(timesS: readonly number[], deg: readonly number[]): Float64Array {
  const { length } = timesS;
  const slopes = new Float64Array(length);
  if (length < 3) return slopes;
  const secants = new Float64Array(length - 1);
  for (let i = 0; i < length - 1; i++)
    secants[i] = (deg[i + 1]! - deg[i]!) / (timesS[i + 1]! - timesS[i]!);
  for (let i = 1; i < length - 1; i++) {
    const [before, after] = [secants[i - 1]!, secants[i]!];
    slopes[i] = before * after > 0 ? (before + after) / 2 : 0;
  }
  for (let i = 0; i < length - 1; i++) {
    const secant = secants[i]!;
    if (secant === 0) continue;
    const size = Math.hypot(slopes[i]! / secant, slopes[i + 1]! / secant);
    if (size <= RADIUS) continue;
    slopes[i]! *= RADIUS / size;
    slopes[i + 1]! *= RADIUS / size;
  }
  return slopes;
}
