import type { Ease } from './ease.ts';
import { CURVE_PARTS, curveRange, EasedCurve } from './eased-curve.ts';
import {
  checkFinite,
  checkMotion,
  type MotionLimits,
  planMove,
  type Trajectory,
} from './profile.ts';
import { isRounding } from './profile-path.ts';

/**
 * Eased moves from rest to rest within limits of speed, acceleration and jerk.
 *
 * The wanted curve is compressed into a part of the move's time and passed through a moving average of
 * width w1, which bounds the acceleration: a(t) = (v(t) - v(t - w1)) / w1. A second one, of width w2,
 * bounds the jerk in the same way. (Biagiotti and Melchiorri, "Trajectory Planning for Automatic Machines
 * and Robots", Springer 2008, and "FIR filters for online trajectory planning with time- and
 * frequency-domain specifications", Control Engineering Practice 20, 2012; from memory.) The move begins
 * and ends at rest, and stays within the hull of the curve, because an average does. A straight curve
 * gives the trapezoid or the double S, which have a closed form, so `planMove` plans it.
 *
 * Averages blur the curve, so they are as narrow as the limits allow.
 */

/** The hull [low, high] (deg) of the positions that `planEased` passes, with any limits. */
export function easedRange(from: number, target: number, ease: Ease): [low: number, high: number] {
  const [min, max] = curveRange(ease);
  const distance = target - from;
  const a = min === 0 ? from : from + distance * min;
  const b = max === 1 ? target : from + distance * max;
  return [Math.min(a, b), Math.max(a, b)];
}

/**
 * The move from rest at `from` to rest at `to` (deg) along `ease`, as close to the curve as the limits
 * allow. It takes exactly `overS`; if that is too short, about the least time in which this curve can be
 * followed.
 *
 * @throws RangeError for a limit that is not finite and above 0, for any other number that is not finite,
 * a negative `overS`, and numbers so large that the sums overflow.
 */
export function planEased(
  from: number,
  target: number,
  ease: Ease,
  overS: number,
  limits: MotionLimits,
): Trajectory {
  checkMotion({ pos: from, vel: 0, acc: 0 }, limits);
  checkFinite('target', target);
  checkFinite('duration', overS);
  if (overS < 0) throw new RangeError(`duration ${overS} must not be below 0`);
  const distance = target - from;
  if (isRounding(distance, Math.max(Math.abs(from), Math.abs(target)))) {
    const segments = Float64Array.from(overS > 0 ? [0, target, 0, 0, 0] : []);
    return { durationS: overS, endPos: target, segments };
  }
  curve.read(ease);
  if (curve.straight) {
    const straight = planMove({ pos: from, vel: 0, acc: 0 }, target, limits, overS);
    // A rounding error does not count as longer than asked.
    const fits = straight.durationS <= overS * (1 + 1e-12);
    const durationS = fits ? overS : straight.durationS;
    return { ...straight, durationS };
  }
  const minS = minTime(ease, Math.abs(distance), limits, overS);
  if (!Number.isFinite(minS)) {
    throw new RangeError('the motion is too large or too slow to be planned; check its limits');
  }
  const durationS = Math.max(overS, minS);
  const segments = curve.segments(from, distance, durationS);
  return { durationS, endPos: target, segments };
}

const curve = new EasedCurve();

/** The averages found for a move, and the time that it needs with them (s). */
interface Found {
  first: number;
  second: number;
  minS: number;
}
/** A show repeats its moves, so the averages of the last ones are kept. */
const found = new WeakMap<Ease, Map<string, Found>>();
const KEPT = 1024;

/** As `narrowest`, which runs only for a move that is not in `found`. */
function minTime(ease: Ease, distance: number, limits: MotionLimits, overS: number): number {
  const moves = found.get(ease) ?? new Map<string, Found>();
  found.set(ease, moves);
  const key = `${distance} ${limits.speed} ${limits.accel} ${limits.jerk} ${overS}`;
  const before = moves.get(key);
  if (before) {
    curve.first = before.first;
    curve.second = before.second;
    return before.minS;
  }
  const quick =
    limits.jerk === undefined ? undefined : narrowestByTable(ease, distance, limits, overS);
  let minS = quick ?? narrowest(distance, limits, overS);
  if (quick === undefined && limits.jerk !== undefined && overS > 0 && minS > overS) {
    // With the averages of the least time it may fit, and never takes longer.
    const { first, second } = curve;
    const fastestS = minTime(ease, distance, limits, 0);
    if (fastestS < minS) minS = fastestS;
    else {
      curve.first = first;
      curve.second = second;
    }
  }
  if (moves.size >= KEPT) moves.delete(moves.keys().next().value!);
  moves.set(key, { first: curve.first, second: curve.second, minS });
  return minS;
}

/**
 * Total widths of the averages that are tried first, as shares of the move; the first is the least
 * allowed.
 */
const WIDTHS = [0.001, 0.003, 0.01, 0.03, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97];
/** Bisection steps between two of them. */
const HALVINGS = 16;
/** Steps of the golden section search over two gaps. */
const GOLDEN_STEPS = 24;
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/**
 * Sets the narrowest averages with which a move of `distance` (deg) fits into `overS` or, if there are
 * none, those with which it takes the least time.
 * @returns the time it then needs (s), no more than `overS` if it fits.
 */
function narrowest(distance: number, limits: MotionLimits, overS: number): number {
  const needsAt = (width: number) => split(width, distance, limits, overS);
  let best = WIDTHS[0]!;
  let bestS = Number.POSITIVE_INFINITY;
  let beforeS = Number.POSITIVE_INFINITY;
  let atS = needsAt(WIDTHS[0]!);
  // Wider averages lower the rates, which saves time, and compress the curve, which costs time. For some
  // curves the time falls and rises more than once; each dip is searched, the narrowest averages first.
  for (let i = 0; i < WIDTHS.length; i++) {
    const low = WIDTHS[Math.max(i - 1, 0)]!;
    const high = WIDTHS[Math.min(i + 1, WIDTHS.length - 1)]!;
    let width = WIDTHS[i]!;
    if (atS <= overS) return needsAt(narrowed(low, width, needsAt, overS));
    const afterS = i + 1 < WIDTHS.length ? needsAt(high) : Number.POSITIVE_INFINITY;
    if (atS <= beforeS && atS < afterS && afterS > overS) {
      width = dip(low, width, atS, high, needsAt, overS);
      const dipS = needsAt(width);
      if (dipS <= overS) return needsAt(narrowed(low, width, needsAt, overS));
      if (dipS < bestS) {
        best = width;
        bestS = dipS;
      }
    }
    beforeS = atS;
    atS = afterS;
  }
  return needsAt(best);
}

/** The narrowest width that fits, between `low` (too narrow, or the least) and `wide` (which fits). */
function narrowed(
  low: number,
  wide: number,
  needsAt: (width: number) => number,
  overS: number,
): number {
  for (let i = 0; i < HALVINGS && low < wide; i++) {
    const middle = (low + wide) / 2;
    if (needsAt(middle) <= overS) wide = middle;
    else low = middle;
  }
  return wide;
}

/** A width between `low` and `high` with which the move fits, or else the one of the least time. */
function dip(
  low: number,
  best: number,
  bestS: number,
  high: number,
  needsAt: (width: number) => number,
  overS: number,
): number {
  let left = high - GOLDEN * (high - low);
  let right = low + GOLDEN * (high - low);
  let leftS = needsAt(left);
  let rightS = needsAt(right);
  for (let i = 0; i < GOLDEN_STEPS && bestS > overS; i++) {
    const isLeft = leftS <= rightS;
    const newS = isLeft ? leftS : rightS;
    if (newS < bestS) {
      best = isLeft ? left : right;
      bestS = newS;
    }
    if (isLeft) {
      high = right;
      right = left;
      rightS = leftS;
      left = high - GOLDEN * (high - low);
      leftS = needsAt(left);
    } else {
      low = left;
      left = right;
      leftS = rightS;
      right = low + GOLDEN * (high - low);
      rightS = needsAt(right);
    }
  }
  return best;
}

// --- averages by table ----------------------------------------------------------------------------

/**
 * With two averages it takes long to follow a motion, so the highest rates are kept for a grid of widths
 * and splits. They belong to the curve, whatever is moved; between grid points their logarithms are
 * interpolated linearly. That is good enough to find where to look; the move that is used has been
 * followed exactly.
 */
const GRID_WIDTHS = [
  0.001, 0.002, 0.004, 0.008, 0.015, 0.03, 0.06, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5,
  0.6, 0.7, 0.8, 0.9, 0.97,
].map(Math.log);
const SHARES = 10;
const GRID_SHARES = Array.from(
  { length: SHARES },
  (_, i) => Math.log(1e-3) + (i / (SHARES - 1)) * (Math.log(0.5) - Math.log(1e-3)),
);
/** Logarithms of speed, acceleration and jerk, then whether they are known. */
const ENTRY = 4;
const tables = new WeakMap<Ease, Float64Array>();
/** If a move fits with no more than this share of its time to spare, its averages are narrow enough. */
const SPARE = 1e-3;
const MAX_TRIES = 8;
const GOLDEN_TRIES = 7;
/** A balanced split can still be improved, so another one must be better by this much. */
const MIN_GAIN = 0.01;

/** Logarithms of the times that speed, acceleration and jerk need (s), at the present step of the search. */
const asked = { speed: 0, accel: 0, jerk: 0 };

const needed = () => Math.max(asked.speed, asked.accel, asked.jerk);
/**
 * How much more time speed or acceleration needs than jerk, whose need falls as the second average's
 * share rises.
 */
const over = () => Math.max(asked.speed, asked.accel) - asked.jerk;

/** The same for the distance and the limits: factors for the highest rates. */
interface Scales {
  speed: number;
  accel: number;
  jerk: number;
}

class Search {
  readonly #table: Float64Array;
  readonly #scales: Scales;

  constructor(ease: Ease, scales: Scales) {
    let table = tables.get(ease);
    if (!table) {
      table = new Float64Array(GRID_WIDTHS.length * SHARES * ENTRY);
      tables.set(ease, table);
    }
    this.#table = table;
    this.#scales = scales;
  }

  /** As `exact`, at a point of the grid. */
  #point(i: number, j: number): void {
    const at = (i * SHARES + j) * ENTRY;
    const table = this.#table;
    if (table[at + 3] === 0) {
      const width = Math.exp(GRID_WIDTHS[i]!);
      const share = Math.exp(GRID_SHARES[j]!);
      curve.smooth(width * (1 - share), width * share);
      table[at] = Math.log(curve.topSpeed);
      table[at + 1] = Math.log(curve.topAccel);
      table[at + 2] = Math.log(curve.topJerk);
      table[at + 3] = 1;
    }
    const { speed, accel, jerk } = this.#scales;
    asked.speed = speed + table[at]!;
    asked.accel = accel + table[at + 1]! / 2;
    asked.jerk = jerk + table[at + 2]! / 3;
  }

  /** Computes a point of the grid if it is not known. */
  know(i: number, j: number): void {
    this.#point(i, j);
  }

  /** Follows the move and writes the times that it needs into `asked`. */
  exact(logWidth: number, logShare: number): void {
    const width = Math.exp(logWidth);
    const share = Math.exp(logShare);
    curve.smooth(width * (1 - share), width * share);
    const { speed, accel, jerk } = this.#scales;
    asked.speed = speed + Math.log(curve.topSpeed);
    asked.accel = accel + Math.log(curve.topAccel) / 2;
    asked.jerk = jerk + Math.log(curve.topJerk) / 3;
  }

  /**
   * The best split at a width of the grid: where the jerk needs as much time as the larger of the others.
   * As the second average's share rises, the jerk's time falls and theirs mostly rises; where they never
   * meet, a point of the grid.
   */
  balanced(i: number, into: Balanced): void {
    into.needed = Number.POSITIVE_INFINITY;
    let lastOver = 0;
    let lastHighest = 0;
    for (let j = 0; j < SHARES; j++) {
      this.#point(i, j);
      const now = over();
      const highest = Math.max(asked.speed, asked.accel);
      const share = GRID_SHARES[j]!;
      if (j > 0 && lastOver < 0 && now > 0) {
        const part = lastOver / (lastOver - now);
        const between = lastHighest + part * (highest - lastHighest);
        const step = share - GRID_SHARES[j - 1]!;
        if (between < into.needed + MIN_GAIN)
          set(into, share - (1 - part) * step, between, (now - lastOver) / step);
      }
      const here = needed();
      if (here < into.needed - MIN_GAIN) set(into, share, here, Number.POSITIVE_INFINITY);
      lastOver = now;
      lastHighest = highest;
    }
  }
}

/** How many parts are computed, by curve. */
const ready = new WeakMap<Ease, number>();
const UNIT: Scales = { speed: 0, accel: 0, jerk: 0 };
const PARTS = CURVE_PARTS.length + GRID_WIDTHS.length * SHARES;

/**
 * Prepares one part of a curve's data, so that the first move along it need not wait for all of it: that
 * takes milliseconds, and many more before the code is compiled. A part takes one pass over the curve.
 * @returns whether there is more to do
 */
export function readyEase(ease: Ease): boolean {
  const at = ready.get(ease) ?? 0;
  if (at >= PARTS) return false;
  ready.set(ease, at + 1);
  const part = CURVE_PARTS[at];
  if (part) {
    part(ease);
    return true;
  }
  curve.read(ease);
  if (curve.straight) {
    ready.set(ease, PARTS);
    return false;
  }
  const point = at - CURVE_PARTS.length;
  const i = Math.floor(point / SHARES);
  new Search(ease, UNIT).know(i, point % SHARES);
  // For moves without a jerk limit.
  curve.oneAverage(Math.exp(GRID_WIDTHS[i]!));
  return true;
}

/** A split (the logarithm of its share), the times it needs (logarithms), and how they change. */
interface Balanced {
  share: number;
  /** The largest of the times. */
  needed: number;
  /**
   * How the others' time less the jerk's changes, as the logarithm of the share rises by one; infinite
   * where the share must stay as it is.
   */
  slope: number;
}

const newBalanced = (): Balanced => ({ share: 0, needed: 0, slope: 1 });

function set(into: Balanced, share: number, needed: number, slope: number): void {
  into.share = share;
  into.needed = needed;
  into.slope = slope;
}

const columns = GRID_WIDTHS.map(newBalanced);
const LOWEST = GRID_SHARES[0]!;
const HIGHEST = GRID_SHARES[SHARES - 1]!;

/**
 * As `narrowest`, for a move with a jerk limit: close enough, and much faster.
 * @returns undefined where the table does not lead to a move that fits
 */
function narrowestByTable(
  ease: Ease,
  distance: number,
  limits: MotionLimits,
  overS: number,
): number | undefined {
  const search = new Search(ease, {
    speed: Math.log(distance / limits.speed),
    accel: Math.log(distance / limits.accel) / 2,
    jerk: Math.log(distance / limits.jerk!) / 3,
  });
  const wanted = Math.log(overS);
  let best = 0;
  let fits = -1;
  for (const [i, column] of columns.entries()) {
    search.balanced(i, column);
    if (!Number.isFinite(column.needed)) return undefined;
    if (column.needed <= wanted) {
      fits = i;
      break;
    }
    if (column.needed < columns[best]!.needed) best = i;
  }
  return fits < 0
    ? minByTable(search, best, distance, limits)
    : fitByTable(search, fits, distance, limits, overS);
}

/** Balances the split at this width by following the move itself; `asked` is left at the last split tried. */
function balance(search: Search, logWidth: number, guess: Balanced, tries: number): void {
  for (let i = 0; ; i++) {
    search.exact(logWidth, guess.share);
    const now = over();
    if (i >= tries || Math.abs(now) < SPARE / 4) break;
    const share = Math.min(Math.max(guess.share - now / guess.slope, LOWEST), HIGHEST);
    if (share === guess.share) break;
    guess.share = share;
  }
}

const between = newBalanced();

/** Column `i` is the first that seems to fit: the narrowest averages are between it and the one before. */
function fitByTable(
  search: Search,
  i: number,
  distance: number,
  limits: MotionLimits,
  overS: number,
): number | undefined {
  const wanted = Math.log(overS);
  const wide = columns[i]!;
  let high = GRID_WIDTHS[i]!;
  let width = high;
  Object.assign(between, wide);
  let low = high;
  if (i > 0) {
    const narrow = columns[i - 1]!;
    const part = (narrow.needed - wanted) / (narrow.needed - wide.needed);
    low = GRID_WIDTHS[i - 1]!;
    width = low + part * (high - low);
    if (Number.isFinite(wide.slope))
      between.share = narrow.share + part * (wide.share - narrow.share);
  }
  let bestWidth: number | undefined;
  let bestShare = 0;
  let lastWidth = width;
  let lastNeeded = 0;
  let slope = 0;
  for (let tries = 0; tries < MAX_TRIES; tries++) {
    balance(search, width, between, 1);
    const now = needed();
    const spare = wanted - now;
    if (spare >= 0) {
      bestWidth = width;
      bestShare = between.share;
      high = width;
    } else low = Math.max(low, width);
    if (spare >= 0 && (spare <= SPARE || width <= GRID_WIDTHS[0]!)) break;
    // Towards the middle of the accepted band, along the line through the last two.
    if (tries > 0 && width !== lastWidth) slope = (now - lastNeeded) / (width - lastWidth);
    lastWidth = width;
    lastNeeded = now;
    let next = slope < 0 ? width + (wanted - SPARE / 2 - now) / slope : (low + high) / 2;
    if (!(next > low && next < high)) next = (low + high) / 2;
    if (bestWidth === undefined && high - low < 1e-9) break;
    if (high - low < 1e-6) break;
    width = next;
  }
  if (bestWidth === undefined) return undefined;
  search.exact(bestWidth, bestShare);
  const minS = needs(distance, limits);
  return minS <= overS ? minS : undefined;
}

/** Column `i` needs the least time; the minimum is near it. */
function minByTable(search: Search, i: number, distance: number, limits: MotionLimits): number {
  let low = GRID_WIDTHS[Math.max(i - 1, 0)]!;
  let high = GRID_WIDTHS[Math.min(i + 1, GRID_WIDTHS.length - 1)]!;
  Object.assign(between, columns[i]!);
  let best = GRID_WIDTHS[i]!;
  balance(search, best, between, 2);
  let bestShare = between.share;
  let bestNeeded = needed();
  for (let tries = 0; tries < GOLDEN_TRIES; tries++) {
    // A golden section into the wider side.
    const wider = high - best > best - low;
    const width = wider ? best + (1 - GOLDEN) * (high - best) : best - (1 - GOLDEN) * (best - low);
    balance(search, width, between, 1);
    const now = needed();
    if (now < bestNeeded) {
      if (wider) low = best;
      else high = best;
      best = width;
      bestShare = between.share;
      bestNeeded = now;
    } else if (wider) high = width;
    else low = width;
  }
  search.exact(best, bestShare);
  return needs(distance, limits);
}

/** The second average's least share of the width; its largest is a half. */
const MIN_SHARE = 1e-3;
/** Times that acceleration and jerk need count as equal within this factor. */
const EVEN = 1e-6;

/**
 * Sets averages of `width` in total, split so that acceleration and jerk need the same time, or so that
 * the move fits into `overS`. A narrower second average gives less acceleration and more jerk.
 * @returns the time the move then needs (s).
 */
function split(width: number, distance: number, limits: MotionLimits, overS: number): number {
  if (limits.jerk === undefined) {
    curve.oneAverage(width);
    return needs(distance, limits);
  }
  let high = Math.log(0.5);
  let low = Math.log(MIN_SHARE);
  let bestShare = 0.5;
  let bestS = use(width, bestShare, distance, limits);
  let highExcess = excess(distance, limits);
  if (bestS <= overS || highExcess <= 0) return bestS;
  const lowS = use(width, MIN_SHARE, distance, limits);
  let lowExcess = excess(distance, limits);
  if (lowS <= overS || lowExcess >= 0) return lowS;
  // Regula falsi, Illinois variant.
  let side = 0;
  for (let i = 0; i < 40; i++) {
    const middle = low + ((high - low) * lowExcess) / (lowExcess - highExcess);
    const share = Math.exp(middle);
    const shareS = use(width, share, distance, limits);
    const middleExcess = excess(distance, limits);
    if (shareS < bestS) {
      bestS = shareS;
      bestShare = share;
    }
    if (shareS <= overS || Math.abs(middleExcess) <= EVEN || !(high - low > EVEN)) break;
    if (middleExcess < 0) {
      low = middle;
      lowExcess = middleExcess;
      if (side < 0) highExcess /= 2;
      side = -1;
    } else {
      high = middle;
      highExcess = middleExcess;
      if (side > 0) lowExcess /= 2;
      side = 1;
    }
  }
  return use(width, bestShare, distance, limits);
}

function use(width: number, share: number, distance: number, limits: MotionLimits): number {
  curve.smooth(width * (1 - share), width * share);
  return needs(distance, limits);
}

/** The least time (s) within the limits: the rates of a move fall with the time, its square and its cube. */
function needs(distance: number, { speed, accel, jerk }: MotionLimits): number {
  return Math.max(
    (distance / speed) * curve.topSpeed,
    Math.sqrt((distance / accel) * curve.topAccel),
    jerk === undefined ? 0 : Math.cbrt((distance / jerk) * curve.topJerk),
  );
}

/** How much more time the acceleration needs than the jerk: the logarithm of the ratio. */
function excess(distance: number, { accel, jerk = 0 }: MotionLimits): number {
  return (
    Math.log((distance / accel) * curve.topAccel) / 2 -
    Math.log((distance / jerk) * curve.topJerk) / 3
  );
}
