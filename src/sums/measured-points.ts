import { tidy } from '../shared/units.ts';
import { Calibration, type CalibrationPoint } from './calibration.ts';
import type { ServoMapping } from './servo-mapping.ts';

/** From measured pairs of pulse width and true angle to a calibration, and what a new one changes. */

/** Points nearer to each other than this say little: a wrong reading weighs too much (us, deg). */
const LEAST_STEP_US = 100;
const LEAST_STEP_DEG = 5;
/** A point this far off the line through the others is asked about (deg): a slip in reading is larger. */
const QUESTIONED_DEG = 5;
/** Decimals of a measured pair in the prop file: no protractor and no phone shows more (us, deg). */
const DECIMALS_US = 0;
const DECIMALS_DEG = 1;
/** Decimals of limits, marks and park positions that are written in new degrees. */
const PLACE_DECIMALS = 2;

/** Beyond the measured points, up to one end of the pulse envelope. */
export interface Beyond {
  /** The end of the envelope (us), and the angle that the first or last segment leads to there (deg). */
  endUs: number;
  endDeg: number;
  /** How far it lies from the nearest point (us). */
  byUs: number;
  /**
   * How far the angle there is wrong (deg) if the two readings that it comes from are each wrong by
   * 1 deg, one up and one down: 1 + 2 d / s, with d beyond a segment of length s.
   */
  errorDeg: number;
}

export interface Measured {
  /** In order of rising pulse. */
  calibration: CalibrationPoint[];
  /** How far the angle turns with the pulse, over all points (deg/us); negative where it falls. */
  degPerUs: number;
  /** The point that does not fit the line through the others. */
  questioned: { pulseUs: number; angleDeg: number; offDeg: number } | undefined;
  /** Ends of the envelope that no point reaches, low then high. */
  beyond: Beyond[];
}

/**
 * Why a point does not fit beside those that were taken before; undefined where it does.
 * @param point pulse (us), true angle (deg)
 */
export function pointProblem(
  points: readonly CalibrationPoint[],
  [pulseUs, angleDeg]: CalibrationPoint,
): string | undefined {
  if (!Number.isFinite(pulseUs) || !Number.isFinite(angleDeg))
    return 'the pulse and the angle must both be numbers';
  if (Math.abs(angleDeg) > 360) return `${angleDeg} deg is more than one turn; read it again`;
  const near = points.find(([us]) => Math.abs(us - pulseUs) < LEAST_STEP_US);
  if (near)
    return `it is only ${tidy(Math.abs(near[0] - pulseUs), 1)} us from the point at ${near[0]} us; points must be ${LEAST_STEP_US} us apart or more`;
  const alike = points.find(([, deg]) => Math.abs(deg - angleDeg) < LEAST_STEP_DEG);
  if (alike)
    return `its angle is only ${tidy(Math.abs(alike[1] - angleDeg), 1)} deg from that of the point at ${alike[0]} us; points must be ${LEAST_STEP_DEG} deg apart or more. Does the servo turn at all?`;
  const all = inOrder([...points, [pulseUs, angleDeg]]);
  if (!isMonotonic(all))
    return 'the angle would turn back: between the points beside it, it must go on the same way';
  return undefined;
}

/**
 * The calibration of measured points, and what is doubtful about it.
 * @param points two or more, in any order: pulse (us), true angle (deg)
 * @param envelopeUs pulses that no command leaves, low then high
 * @throws RangeError that names what is wrong with the points
 */
export function measuredCalibration(
  points: readonly CalibrationPoint[],
  envelopeUs: readonly [number, number],
): Measured {
  const written = inOrder(
    points.map(([us, deg]) => [tidy(us, DECIMALS_US), tidy(deg, DECIMALS_DEG)]),
  );
  if (written.length < 2)
    throw new RangeError(
      `${written.length === 0 ? 'there is no point yet' : 'one point is not enough'}; take two or more`,
    );
  for (const [i, point] of written.entries()) {
    const problem = pointProblem(written.slice(0, i), point);
    if (problem) throw new RangeError(`the point at ${point[0]} us: ${problem}`);
  }
  const calibration = new Calibration(written);
  const first = written[0]!;
  const last = written.at(-1)!;
  return {
    calibration: written,
    degPerUs: (last[1] - first[1]) / (last[0] - first[0]),
    questioned: doubtful(written),
    beyond: [
      beyond(calibration, envelopeUs[0], first, written[1]!),
      beyond(calibration, envelopeUs[1], last, written.at(-2)!),
    ].filter((one) => one !== undefined),
  };
}

function beyond(
  calibration: Calibration,
  endUs: number,
  end: CalibrationPoint,
  next: CalibrationPoint,
): Beyond | undefined {
  const outwards = Math.sign(end[0] - next[0]);
  const byUs = (endUs - end[0]) * outwards;
  if (byUs <= 0) return undefined;
  const errorDeg = 1 + (2 * byUs) / Math.abs(end[0] - next[0]);
  return { endUs, endDeg: calibration.toDeg(endUs), byUs, errorDeg };
}

function inOrder(points: readonly CalibrationPoint[]): CalibrationPoint[] {
  return [...points].sort(([a], [b]) => a - b);
}

function isMonotonic(points: readonly CalibrationPoint[]): boolean {
  const signs = points.slice(1).map(([, deg], i) => Math.sign(deg - points[i]![1]));
  return signs.every((sign) => sign !== 0 && sign === signs[0]);
}

/**
 * The point without which the others lie best on a line, where it is too far off that line. Of three
 * points, any two lie on one: it is then the middle one, and may as well be another.
 */
function doubtful(points: readonly CalibrationPoint[]): Measured['questioned'] {
  if (points.length < 3) return undefined;
  const without = points.map(([pulseUs, angleDeg], i) => {
    const others = points.filter((_, j) => j !== i);
    const { slope, intercept } = lineThrough(others);
    const offBy = ([us, deg]: CalibrationPoint) => deg - (intercept + slope * us);
    const squares = others.reduce((sum, one) => sum + offBy(one) ** 2, 0);
    return { pulseUs, angleDeg, offDeg: offBy([pulseUs, angleDeg]), squares };
  });
  const { squares: _, ...found } =
    points.length === 3
      ? without[1]!
      : without.reduce((best, one) => (one.squares < best.squares ? one : best));
  return Math.abs(found.offDeg) > QUESTIONED_DEG ? found : undefined;
}

/**
 * The straight line with the least sum of squares in y (NIST/SEMATECH e-Handbook of Statistical Methods,
 * section 4.4.3.1, from memory), about the means so that large x cost no digits.
 * @param points two or more x, y, not all with the same x
 */
export function lineThrough(points: readonly (readonly [x: number, y: number])[]): {
  slope: number;
  intercept: number;
} {
  const mean = (of: 0 | 1) => points.reduce((sum, point) => sum + point[of], 0) / points.length;
  const [meanX, meanY] = [mean(0), mean(1)];
  let [xx, xy] = [0, 0];
  for (const [x, y] of points) {
    xx += (x - meanX) ** 2;
    xy += (x - meanX) * (y - meanY);
  }
  const slope = xy / xx;
  return { slope, intercept: meanY - slope * meanX };
}

/**
 * The most by which two mappings differ within a pulse interval (us): in angle (deg), and at which pulse.
 * Both are piecewise linear without a linkage, so the bends and the ends are enough; with one, a pulse
 * every 10 us is looked at as well.
 */
export function largestDifference(
  one: ServoMapping,
  other: ServoMapping,
  [lowUs, highUs]: readonly [number, number],
): { deg: number; atUs: number } {
  const places = [lowUs, highUs];
  for (const { calibration, linkage } of [one, other]) {
    places.push(...calibration.points.map(([us]) => us));
    if (linkage) for (let us = lowUs; us < highUs; us += 10) places.push(us);
  }
  let worst = { deg: 0, atUs: lowUs };
  for (const atUs of places) {
    if (atUs < lowUs || atUs > highUs) continue;
    const deg = other.toDeg(atUs) - one.toDeg(atUs);
    if (Math.abs(deg) > Math.abs(worst.deg)) worst = { deg, atUs };
  }
  return worst;
}

/** What a prop file has in degrees of one servo. */
export interface Places {
  limitsDeg: readonly [number, number];
  marks: Record<string, number>;
  /** Degrees, or a mark. */
  park: number | string;
}

/**
 * The same places in the degrees of another mapping: every pulse stays what it was. Limits are rounded
 * inwards, so that no limit gets wider, and marks and park position stay within them.
 */
export function inNewDegrees(places: Places, from: ServoMapping, to: ServoMapping): Places {
  const convert = (deg: number) => to.toDeg(from.toPulseUs(deg));
  const ends = places.limitsDeg.map(convert);
  const unit = 10 ** PLACE_DECIMALS;
  // What is a whole step but for the rounding of the machine stays one.
  const slack = 1e-7;
  const low = tidy(Math.ceil(Math.min(...ends) * unit - slack) / unit, PLACE_DECIMALS);
  const high = tidy(Math.floor(Math.max(...ends) * unit + slack) / unit, PLACE_DECIMALS);
  const [wasLow, wasHigh] = places.limitsDeg;
  const place = (deg: number) => {
    const is = tidy(convert(deg), PLACE_DECIMALS);
    // One that was outside its limits is not brought inside them.
    return deg < wasLow || deg > wasHigh ? is : Math.min(Math.max(is, low), high);
  };
  const { park } = places;
  return {
    limitsDeg: [low, high],
    marks: Object.fromEntries(
      Object.entries(places.marks).map(([mark, deg]) => [mark, place(deg)]),
    ),
    park: typeof park === 'number' ? place(park) : park,
  };
}
