/** One measured pair of a servo: pulse width (us) and the angle (deg) it leads to. */
export type CalibrationPoint = readonly [pulseUs: number, angleDeg: number];

/**
 * Pulse width to angle and back for one servo: piecewise linear through the measured points, and by the
 * first and the last segment beyond them (linear interpolation and extrapolation).
 */
export class Calibration {
  /** In order of rising pulse. */
  readonly points: readonly CalibrationPoint[];
  /** The ends of the measured range; low < high even where the angle falls as the pulse rises. */
  readonly lowDeg: number;
  readonly highDeg: number;
  readonly lowUs: number;
  readonly highUs: number;
  /** From angle to pulse, and back: see `table`. */
  readonly pulseTable: Float64Array;
  readonly #angleOfPulse: Float64Array;

  /**
   * @param points two or more, in rising or falling order of pulse.
   * @throws RangeError that names the point that is not finite, or not strictly monotonic in both.
   */
  constructor(points: readonly CalibrationPoint[]) {
    if (points.length < 2) {
      throw new RangeError(
        `calibration has ${points.length} point(s); give at least 2 points [pulse us, angle deg]`,
      );
    }
    for (const [index, [pulseUs, angleDeg]] of points.entries()) {
      if (!Number.isFinite(pulseUs) || !Number.isFinite(angleDeg)) {
        throw new RangeError(`calibration ${naming(points, index)} is not two finite numbers`);
      }
    }
    const pulseSign = Math.sign(points[1]![0] - points[0]![0]);
    const angleSign = Math.sign(points[1]![1] - points[0]![1]);
    for (let i = 1; i < points.length; i++) {
      const pulseStep = (points[i]![0] - points[i - 1]![0]) * pulseSign;
      const angleStep = (points[i]![1] - points[i - 1]![1]) * angleSign;
      if (!(pulseStep > 0)) {
        throw new RangeError(
          `calibration ${naming(points, i)}: the pulse must go on ${pulseSign < 0 ? 'falling' : 'rising'} from the point before it`,
        );
      }
      if (!(angleStep > 0)) {
        throw new RangeError(
          `calibration ${naming(points, i)}: the angle must go on ${angleSign < 0 ? 'falling' : angleSign > 0 ? 'rising' : 'rising or falling'} from the point before it`,
        );
      }
    }
    const rising = pulseSign > 0 ? [...points] : [...points].reverse();
    this.points = rising;
    const byAngle = pulseSign * angleSign < 0 ? [...rising].reverse() : rising;
    this.#angleOfPulse = table(rising);
    this.pulseTable = table(byAngle.map(([pulseUs, angleDeg]) => [angleDeg, pulseUs]));
    this.lowUs = rising[0]![0];
    this.highUs = rising.at(-1)![0];
    this.lowDeg = byAngle[0]![1];
    this.highDeg = byAngle.at(-1)![1];
  }

  /** Pulse width (us, not rounded) for an angle (deg). Allocates nothing. */
  toPulseUs(deg: number): number {
    return interpolate(this.pulseTable, 0, deg);
  }

  /** Angle (deg) for a pulse width (us). Allocates nothing. */
  toDeg(pulseUs: number): number {
    return interpolate(this.#angleOfPulse, 0, pulseUs);
  }
}

/** Pulse width (us, not rounded) for an angle (deg). */
interface PulseMapping {
  toPulseUs(deg: number): number;
  /** The whole mapping, where it is linear between points: see `table`. */
  readonly pulseTable?: Float64Array | undefined;
}

/**
 * The pulses a servo may be sent: whole multiples of the step inside both the soft limits and the
 * pulse envelope. Computed once per servo, so that a tick only has to round.
 */
export class PulseBounds {
  readonly #mapping: PulseMapping;
  /** Indices below. One piece of memory for each servo: a tick reads those of all. */
  readonly #numbers: Float64Array;

  /**
   * @param limitsDeg soft limits (deg), low then high.
   * @param envelopeUs pulse envelope (us), low then high.
   * @param stepUs pulse step of the output (us), above 0.
   * @throws RangeError when no multiple of the step lies inside both.
   */
  constructor(
    mapping: PulseMapping,
    limitsDeg: readonly [number, number],
    envelopeUs: readonly [number, number],
    stepUs: number,
  ) {
    if (!(stepUs > 0) || !Number.isFinite(stepUs)) {
      throw new RangeError(`pulse step ${stepUs} us must be a finite number above 0`);
    }
    this.#mapping = mapping;
    const one = mapping.toPulseUs(limitsDeg[0]);
    const other = mapping.toPulseUs(limitsDeg[1]);
    const lowUs = Math.max(Math.min(one, other), envelopeUs[0]);
    const highUs = Math.min(Math.max(one, other), envelopeUs[1]);
    const table = mapping.pulseTable ?? [];
    this.#numbers = new Float64Array(TABLE + table.length);
    this.#numbers[STEP] = stepUs;
    this.#numbers[LOW] = Math.ceil((lowUs - ROUNDING_US) / stepUs) * stepUs;
    this.#numbers[HIGH] = Math.floor((highUs + ROUNDING_US) / stepUs) * stepUs;
    this.#numbers.set(table, TABLE);
    if (!(this.lowUs <= this.highUs)) {
      throw new RangeError(
        `no multiple of the pulse step ${stepUs} us lies inside limits ${limitsDeg[0]} to ${limitsDeg[1]} deg and envelope ${envelopeUs[0]} to ${envelopeUs[1]} us; widen them`,
      );
    }
  }

  /** Lowest and highest allowed pulse (us), both whole steps. */
  get lowUs(): number {
    return this.#numbers[LOW]!;
  }

  get highUs(): number {
    return this.#numbers[HIGH]!;
  }

  /**
   * The allowed pulse (us) nearest to that of `deg`: rounded to a whole step, inwards at the bounds, so
   * that rounding never leaves the soft limits or the envelope.
   */
  pulseUs(deg: number): number {
    const into = new Float64Array(1);
    this.writePulseUs({ pos: deg }, into, 0);
    return into[0]!;
  }

  /** As `pulseUs`, for a position (deg). It passes no fraction, so it allocates nothing. */
  writePulseUs({ pos }: { readonly pos: number }, into: Float64Array, at: number): void {
    const numbers = this.#numbers;
    const stepUs = numbers[STEP]!;
    const wantedUs =
      numbers.length > TABLE ? interpolate(numbers, TABLE, pos) : this.#mapping.toPulseUs(pos);
    const pulseUs = Math.round(wantedUs / stepUs) * stepUs;
    into[at] = Math.min(Math.max(pulseUs, numbers[LOW]!), numbers[HIGH]!);
  }
}

/** Indices of the numbers of `PulseBounds`; the table of a mapping that has one comes last. */
const STEP = 0;
const LOW = 1;
const HIGH = 2;
const TABLE = 3;

/** Rounding error (us) allowed at a bound that is itself a multiple of the step. */
const ROUNDING_US = 1e-9;

function naming(points: readonly CalibrationPoint[], index: number): string {
  return `point ${index + 1} [${points[index]!.join(', ')}]`;
}

/** Numbers for each point: x, y, and the slope to the next point; for the last point, from the one before. */
const STRIDE = 3;

/** Points in order of x, side by side in memory: a tick reads the tables of all servos. */
export function table(points: readonly (readonly [x: number, y: number])[]): Float64Array {
  const slopes = points.slice(1).map(([x, y], i) => (y - points[i]![1]) / (x - points[i]![0]));
  return Float64Array.from(points.flatMap(([x, y], i) => [x, y, slopes[i] ?? slopes.at(-1)!]));
}

/**
 * `y` at `x` by the table that begins at `i`: linear between the points and beyond both ends, exact at
 * the points.
 */
export function interpolate(points: Float64Array, i: number, x: number): number {
  while (i + STRIDE < points.length && x >= points[i + STRIDE]!) i += STRIDE;
  return points[i + 1]! + (x - points[i]!) * points[i + 2]!;
}
