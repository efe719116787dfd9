import type { Ease } from './ease.ts';
import { curveRange, EasedCurve } from './eased-curve.ts';
import { checkFinite, checkMotion, type MotionLimits, type Trajectory } from './profile.ts';
import { isRounding } from './profile-path.ts';

/**
 * Eased moves from rest to rest within speed, acceleration and jerk.
 *
 * The wanted curve is compressed into a part of the move's time, and goes through a moving average
 * of width w1, which bounds the acceleration: a(t) = (v(t) - v(t - w1)) / w1. A second one, of width
 * w2, bounds the jerk alike. (Biagiotti and Melchiorri, "Trajectory Planning for Automatic Machines
 * and Robots", Springer 2008, and "FIR filters for online trajectory planning with time- and
 * frequency-domain specifications", Control Engineering Practice 20, 2012; from memory.) The move
 * begins and ends at rest, and stays within the hull of the curve, because an average does. `linear`
 * becomes the trapezoid and the double S.
 *
 * Averages blur the curve, so they are as narrow as the limits allow.
 */

export interface EasedPlan {
  trajectory: Trajectory;
  /** How much longer than asked (s); 0 if it fits. */
  stretchedS: number;
}

/** The hull [low, high] (deg) of the positions that `planEased` passes, whatever the limits are. */
export function easedRange(from: number, to: number, ease: Ease): [low: number, high: number] {
  const [least, most] = curveRange(ease);
  const distance = to - from;
  const a = least === 0 ? from : from + distance * least;
  const b = most === 1 ? to : from + distance * most;
  return [Math.min(a, b), Math.max(a, b)];
}

/**
 * The move from rest at `from` to rest at `to` (deg) along `ease`, as near to the curve as the
 * limits allow. It takes exactly `overS`; where that is too short, about the least time in which
 * this curve can be followed.
 *
 * @throws RangeError for a limit that is not finite and above 0, for any other number that is not
 * finite, a negative `overS`, and numbers so far apart that the sums overflow.
 */
export function planEased(
  from: number,
  to: number,
  ease: Ease,
  overS: number,
  limits: MotionLimits,
): EasedPlan {
  checkMotion({ pos: from, vel: 0, acc: 0 }, limits);
  checkFinite('target', to);
  checkFinite('duration', overS);
  if (overS < 0) throw new RangeError(`duration ${overS} must not be below 0`);
  const distance = to - from;
  if (isRounding(distance, Math.max(Math.abs(from), Math.abs(to)))) {
    const segments = Float64Array.from(overS > 0 ? [0, to, 0, 0, 0] : []);
    return { trajectory: { durationS: overS, endPos: to, segments }, stretchedS: 0 };
  }
  curve.read(ease);
  const leastS = leastTime(ease, Math.abs(distance), limits, overS);
  if (!Number.isFinite(leastS)) {
    throw new RangeError('the motion is too large or too slow to be planned; check its limits');
  }
  const durationS = Math.max(overS, leastS);
  const segments = curve.segments(from, distance, durationS);
  return {
    trajectory: { durationS, endPos: to, segments },
    stretchedS: durationS - overS,
  };
}

const curve = new EasedCurve();

/** Averages that were looked for, and the time that the move needs with them (s). */
interface Found {
  first: number;
  second: number;
  leastS: number;
}
/** A show makes the same moves again and again: what was found for the last of them is kept. */
const found = new WeakMap<Ease, Map<string, Found>>();
const KEPT = 256;

/** As `narrowest`, which is asked only for a move that is not known yet. */
function leastTime(ease: Ease, distance: number, limits: MotionLimits, overS: number): number {
  const moves = found.get(ease) ?? new Map<string, Found>();
  found.set(ease, moves);
  const key = `${distance} ${limits.speed} ${limits.accel} ${limits.jerk} ${overS}`;
  const before = moves.get(key);
  if (before) {
    curve.smooth(before.first, before.second);
    return before.leastS;
  }
  const leastS = narrowest(distance, limits, overS);
  if (moves.size >= KEPT) moves.delete(moves.keys().next().value!);
  moves.set(key, { first: curve.first, second: curve.second, leastS });
  return leastS;
}

/** Widths of the averages together, as shares of the move: the least, and those tried first. */
const WIDTHS = [0.001, 0.003, 0.01, 0.03, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97];
/** Halvings of the gap between two of them. */
const HALVINGS = 16;
/** Steps of the golden section search over two gaps. */
const GOLDEN_STEPS = 24;
const GOLDEN = (Math.sqrt(5) - 1) / 2;

/**
 * Puts the narrowest averages to use with which a move of `distance` (deg) fits into `overS`, or, if
 * none do, those with which it takes the least time.
 * @returns the time it then needs (s), no more than `overS` if it fits.
 */
function narrowest(distance: number, limits: MotionLimits, overS: number): number {
  const needsAt = (width: number) => split(width, distance, limits, overS);
  let best = WIDTHS[0]!;
  let bestS = Number.POSITIVE_INFINITY;
  let beforeS = Number.POSITIVE_INFINITY;
  let atS = needsAt(WIDTHS[0]!);
  // The time falls while wider averages smooth the rates, and rises as the curve is compressed;
  // for some curves more than once. Each dip is looked into, the narrowest averages first.
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

/** The width between `low`, too narrow or the least, and `wide` from which on the move fits. */
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

/** A width with which the move fits, or else that of the least time, between `low` and `high`. */
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

/** The least share of the width that goes to the second average; it never gets more than half. */
const LEAST_SHARE = 1e-3;
/** When acceleration and jerk ask for the same time, but for this factor, the split is right. */
const EVEN = 1e-6;

/**
 * Puts averages of `width` together to use, split so that acceleration and jerk ask for the same
 * time, or so that the move fits into `overS`: the narrower the second, the less acceleration and
 * the more jerk there is.
 * @returns the time the move then needs (s).
 */
function split(width: number, distance: number, limits: MotionLimits, overS: number): number {
  if (limits.jerk === undefined) {
    curve.smooth(width, 0);
    return needs(distance, limits);
  }
  let high = Math.log(0.5);
  let low = Math.log(LEAST_SHARE);
  let bestShare = 0.5;
  let bestS = use(width, bestShare, distance, limits);
  let highExcess = excess(distance, limits);
  if (bestS <= overS || highExcess <= 0) return bestS;
  const lowS = use(width, LEAST_SHARE, distance, limits);
  let lowExcess = excess(distance, limits);
  if (lowS <= overS || lowExcess >= 0) return lowS;
  // Regula falsi, the Illinois way.
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

/** The least time (s) within the limits: rates of a move fall with the time, its square, its cube. */
function needs(distance: number, { speed, accel, jerk }: MotionLimits): number {
  return Math.max(
    (distance / speed) * curve.topSpeed,
    Math.sqrt((distance / accel) * curve.topAccel),
    jerk === undefined ? 0 : Math.cbrt((distance / jerk) * curve.topJerk),
  );
}

/** How much more time the acceleration asks for than the jerk: the logarithm of the ratio. */
function excess(distance: number, { accel, jerk = 0 }: MotionLimits): number {
  return (
    Math.log((distance / accel) * curve.topAccel) / 2 -
    Math.log((distance / jerk) * curve.topJerk) / 3
  );
}
