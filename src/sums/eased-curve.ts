import type { Ease } from './ease.ts';
import { posAfter, STRIDE, velAfter } from './profile-path.ts';

/** Pieces of the curve; a power of two. */
const CELLS = 64;
/** Times (shares of the move's time) closer than this are the same. */
const SAME = 1e-12;
/**
 * Widths are multiples of 1 / GRAIN. With powers of two for both, times have no rounding error, which a
 * narrow average would multiply.
 */
const GRAIN = 2 ** 40;

const known = new WeakMap<Ease, Float64Array>();

/** The curve at its points, 0 to CELLS; a move always begins at 0 and ends at 1. */
function pointsOf(ease: Ease): Float64Array {
  let points = known.get(ease);
  if (!points) {
    points = Float64Array.from({ length: CELLS + 1 }, (_, i) => ease(i / CELLS));
    points[0] = 0;
    points[CELLS] = 1;
    known.set(ease, points);
  }
  return points;
}

const knownChanges = new WeakMap<Ease, Float64Array>();

/** The largest change of the slope from one piece to the k-th after it, for k from 0 to CELLS. */
function changesOf(ease: Ease, points: Float64Array): Float64Array {
  let changes = knownChanges.get(ease);
  if (!changes) {
    // At rest before and after the curve.
    const slope = (i: number) => (i < 0 || i >= CELLS ? 0 : (points[i + 1]! - points[i]!) * CELLS);
    changes = new Float64Array(CELLS + 1);
    for (let k = 0; k <= CELLS; k++)
      for (let i = 0; i < CELLS + k; i++)
        changes[k] = Math.max(changes[k]!, Math.abs(slope(i) - slope(i - k)));
    knownChanges.set(ease, changes);
  }
  return changes;
}

/** Compute a curve's points, then the changes of its slope: parts of what `read` needs. */
export const CURVE_PARTS: readonly ((ease: Ease) => void)[] = [
  pointsOf,
  (ease) => changesOf(ease, pointsOf(ease)),
];

/** The lowest and the highest value of the curve; both are at its points. */
export function curveRange(ease: Ease): [low: number, high: number] {
  let low = 0;
  let high = 1;
  for (const value of pointsOf(ease)) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}

/**
 * A move from rest at 0 to rest at 1 along a curve, in time 0 to 1: the curve is straight between its
 * points, compressed into a part of the time, and passed through one or two moving averages. Reused, so
 * that the search for the right averages allocates nothing.
 *
 * The velocity of the curve changes in steps. Each step that enters or leaves the first average changes
 * the acceleration by step / width. With two averages, each step that enters or leaves either one changes
 * the jerk by step / (width width).
 */
export class EasedCurve {
  /** Widths of the averages, as shares of the time; the second is 0 when there is only one. */
  first = 0;
  second = 0;
  /** The highest speed, acceleration and jerk with these averages. */
  topSpeed = 0;
  topAccel = 0;
  topJerk = 0;

  /** Where the velocity of the curve steps, and by how much, if the curve takes the whole time. */
  readonly #stepAt = new Float64Array(CELLS + 1);
  readonly #stepBy = new Float64Array(CELLS + 1);
  #steps = 0;
  #points: Float64Array = new Float64Array(CELLS + 1);
  #changes: Float64Array = new Float64Array(CELLS + 1);

  // The present state while the motion is followed.
  #at = 0;
  #pos = 0;
  #vel = 0;
  #acc = 0;
  #jerk = 0;
  /** The time of the changes that were applied last. */
  #changeAt = 0;
  /** Where steps enter and leave the averages: after what delay, with which sign, and the next step there. */
  readonly #delays = new Float64Array(4);
  readonly #signs = [1, -1, -1, 1] as const;
  readonly #next = new Int32Array(4);
  /** Room for the largest number of segments: one from each change to the next. */
  readonly #segments = new Float64Array(4 * (CELLS + 1) * STRIDE);
  #taps = 0;

  read(ease: Ease): void {
    const points = pointsOf(ease);
    this.#points = points;
    this.#changes = changesOf(ease, points);
    this.#steps = 0;
    let slope = 0;
    let value = 0;
    for (let i = 0; i <= CELLS; i++) {
      const next = points[Math.min(i + 1, CELLS)]!;
      const nextSlope = (next - value) * CELLS;
      value = next;
      // On a straight part only rounding is left.
      const rounding = 1e-12 * (Math.abs(slope) + Math.abs(nextSlope));
      if (Math.abs(nextSlope - slope) <= rounding) continue;
      this.#stepAt[this.#steps] = i / CELLS;
      this.#stepBy[this.#steps++] = nextSlope - slope;
      slope = nextSlope;
    }
  }

  /** Whether the curve is a straight line: it steps only at its start and its end. */
  get straight(): boolean {
    return this.#steps === 2;
  }

  /**
   * The highest speed and acceleration with one average of this width, without following the motion. With
   * p the curve and s its slopes, both per piece, and q pieces to the width, they are the maxima of p(x)
   * - p(x - q) and of s(x) - s(x - q). The first is linear between places where x or x - q is the end of
   * a piece. For the second only the whole numbers on both sides of q matter, and those are looked up.
   */
  oneAverage(wanted: number): void {
    const width = Math.round(wanted * GRAIN) / GRAIN;
    this.first = width;
    this.second = 0;
    const curveTime = 1 - width;
    const pieces = (width / curveTime) * CELLS;
    const whole = Math.min(Math.floor(pieces), CELLS);
    const change = Math.max(this.#changes[whole]!, this.#changes[Math.min(whole + 1, CELLS)]!);
    this.topAccel = change / (curveTime * width);
    const p = this.#points;
    const part = pieces - Math.floor(pieces);
    let largest = 0;
    if (pieces >= CELLS) {
      for (let i = 0; i <= CELLS; i++)
        largest = Math.max(largest, Math.abs(p[i]!), Math.abs(1 - p[i]!));
    } else {
      for (let i = 0; i <= CELLS; i++) {
        const low = i - whole - 1;
        // Before its start the curve is at 0, as at its first point.
        const before = low < 0 ? 0 : p[low]! + (1 - part) * (p[low + 1]! - p[low]!);
        const high = i + whole;
        const after = high >= CELLS ? p[CELLS]! : p[high]! + part * (p[high + 1]! - p[high]!);
        largest = Math.max(largest, Math.abs(p[i]! - before), Math.abs(after - p[i]!));
      }
    }
    this.topSpeed = largest / width;
    this.topJerk = 0;
  }

  /** Sets the widths of the averages (shares of the time, less than 1 together). */
  smooth(first: number, second: number): void {
    this.first = Math.round(first * GRAIN) / GRAIN;
    this.second = Math.round(second * GRAIN) / GRAIN;
    this.topSpeed = 0;
    this.topAccel = 0;
    this.topJerk = 0;
    this.#begin();
    while (this.#applyChanges()) {
      this.topAccel = Math.max(this.topAccel, Math.abs(this.#acc));
      this.topJerk = Math.max(this.topJerk, Math.abs(this.#jerk));
      const turnsAfter = -this.#acc / this.#jerk;
      if (turnsAfter > 0 && turnsAfter < this.#changeAt - this.#at) {
        const turnVel = this.#vel + (turnsAfter * this.#acc) / 2;
        this.topSpeed = Math.max(this.topSpeed, Math.abs(turnVel));
      }
      this.#advance();
      this.topSpeed = Math.max(this.topSpeed, Math.abs(this.#vel));
      this.topAccel = Math.max(this.topAccel, Math.abs(this.#acc));
    }
  }

  /** The move from `from` over `distance` (deg) in `durationS`, as a trajectory's segments. */
  segments(from: number, distance: number, durationS: number): Float64Array {
    const numbers = this.#segments;
    let at = 0;
    this.#begin();
    while (this.#applyChanges()) {
      numbers[at] = this.#at * durationS;
      numbers[at + 1] = from + this.#pos * distance;
      numbers[at + 2] = (this.#vel * distance) / durationS;
      numbers[at + 3] = (this.#acc * distance) / durationS / durationS;
      numbers[at + 4] = (this.#jerk * distance) / durationS / durationS / durationS;
      at += STRIDE;
      this.#advance();
    }
    return numbers.slice(0, at);
  }

  #begin(): void {
    this.#delays[1] = this.first;
    this.#delays[2] = this.second;
    this.#delays[3] = this.first + this.second;
    this.#taps = this.second > 0 ? 4 : 2;
    this.#next.fill(0);
    this.#at = 0;
    this.#pos = 0;
    this.#vel = 0;
    this.#acc = 0;
    this.#jerk = 0;
    this.#changeAt = 0;
  }

  /**
   * Applies the changes at the present time, and finds when the next ones are.
   * @returns false when there are none: the motion is at rest.
   */
  #applyChanges(): boolean {
    const curveTime = 1 - this.first - this.second;
    let change = 0;
    let nextAt = Number.POSITIVE_INFINITY;
    for (let way = 0; way < this.#taps; way++) {
      const delay = this.#delays[way]!;
      let i = this.#next[way]!;
      let stepAt = Number.POSITIVE_INFINITY;
      for (; i < this.#steps; i++) {
        stepAt = this.#stepAt[i]! * curveTime + delay;
        if (stepAt > this.#at + SAME) break;
        change += this.#signs[way]! * this.#stepBy[i]!;
      }
      this.#next[way] = i;
      if (i < this.#steps) nextAt = Math.min(nextAt, stepAt);
    }
    change /= curveTime * this.first;
    if (this.second > 0) this.#jerk += change / this.second;
    else this.#acc += change;
    this.#changeAt = nextAt;
    return nextAt < Number.POSITIVE_INFINITY;
  }

  /** Advances to the next changes. */
  #advance(): void {
    const t = this.#changeAt - this.#at;
    this.#pos = posAfter(t, this.#pos, this.#vel, this.#acc, this.#jerk);
    this.#vel = velAfter(t, this.#vel, this.#acc, this.#jerk);
    this.#acc += t * this.#jerk;
    this.#at = this.#changeAt;
  }
}
