/** One measured pair of a servo: pulse width (us) and the angle (deg) it stands at. */
export type CalibrationPoint = readonly [pulseUs: number, angleDeg: number];

/**
 * Pulse width to angle and back for one servo: piecewise linear through the measured points, the
 * end segments extended beyond them (linear interpolation and extrapolation).
 */
export class Calibration {
  /** The points in order of rising pulse. */
  readonly points: readonly CalibrationPoint[];
  /** The ends of the measured range; low < high whichever way the angle runs. */
  readonly lowDeg: number;
  readonly highDeg: number;
  readonly lowUs: number;
  readonly highUs: number;
  readonly #pulses: Float64Array;
  readonly #angles: Float64Array;
  /** The points again, in order of rising angle. */
  readonly #pulsesByAngle: Float64Array;
  readonly #anglesByAngle: Float64Array;
  /** Of the stretches between the points: deg per us, and us per deg. */
  readonly #angleSlopes: Float64Array;
  readonly #pulseSlopes: Float64Array;

  /**
   * @param points two or more, in rising or falling order of pulse.
   * @throws RangeError naming the point that is not finite, or not strictly monotonic in both.
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
    this.#pulses = Float64Array.from(rising, (point) => point[0]);
    this.#angles = Float64Array.from(rising, (point) => point[1]);
    const angleFalls = pulseSign * angleSign < 0;
    this.#pulsesByAngle = angleFalls ? this.#pulses.toReversed() : this.#pulses;
    this.#anglesByAngle = angleFalls ? this.#angles.toReversed() : this.#angles;
    this.#angleSlopes = slopes(this.#pulses, this.#angles);
    this.#pulseSlopes = slopes(this.#anglesByAngle, this.#pulsesByAngle);
    this.lowUs = this.#pulses[0]!;
    this.highUs = this.#pulses[rising.length - 1]!;
    this.lowDeg = this.#anglesByAngle[0]!;
    this.highDeg = this.#anglesByAngle[rising.length - 1]!;
  }

  /** Pulse width (us, not rounded) for an angle (deg). Allocates nothing. */
  toPulseUs(deg: number): number {
    return interpolate(this.#anglesByAngle, this.#pulsesByAngle, this.#pulseSlopes, deg);
  }

  /** Angle (deg) for a pulse width (us). Allocates nothing. */
  toDeg(pulseUs: number): number {
    return interpolate(this.#pulses, this.#angles, this.#angleSlopes, pulseUs);
  }
}

/** Pulse width (us, not rounded) for an angle (deg). */
export interface PulseMapping {
  toPulseUs(deg: number): number;
}

/**
 * The pulses a servo may be sent: whole multiples of the step inside both the soft limits and the
 * pulse envelope. Computed once per servo, so that a tick only has to round.
 */
export class PulseBounds {
  /** Lowest and highest allowed pulse (us), both multiples of `stepUs`. */
  readonly lowUs: number;
  readonly highUs: number;
  readonly stepUs: number;
  readonly #mapping: PulseMapping;

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
    this.stepUs = stepUs;
    this.lowUs = Math.ceil((lowUs - ROUNDING_US) / stepUs) * stepUs;
    this.highUs = Math.floor((highUs + ROUNDING_US) / stepUs) * stepUs;
    if (!(this.lowUs <= this.highUs)) {
      throw new RangeError(
        `no multiple of the pulse step ${stepUs} us lies inside limits ${limitsDeg[0]} to ${limitsDeg[1]} deg and envelope ${envelopeUs[0]} to ${envelopeUs[1]} us; widen them`,
      );
    }
  }

  /**
   * The allowed pulse (us) nearest to the pulse of `deg`: rounded to a whole step, and inwards at
   * the bounds, so that rounding never leaves the soft limits or the envelope. Allocates nothing.
   */
  pulseUs(deg: number): number {
    const pulseUs = Math.round(this.#mapping.toPulseUs(deg) / this.stepUs) * this.stepUs;
    return Math.min(Math.max(pulseUs, this.lowUs), this.highUs);
  }
}

/** Float noise (us) allowed at a bound that is itself a multiple of the step. */
const ROUNDING_US = 1e-9;

function naming(points: readonly CalibrationPoint[], index: number): string {
  return `point ${index + 1} [${points[index]!.join(', ')}]`;
}

function slopes(xs: Float64Array, ys: Float64Array): Float64Array {
  return Float64Array.from(
    { length: xs.length - 1 },
    (_, i) => (ys[i + 1]! - ys[i]!) / (xs[i + 1]! - xs[i]!),
  );
}

/** `ys` at `x`, linear between the points and beyond both ends; `xs` rises. Exact at the points. */
function interpolate(xs: Float64Array, ys: Float64Array, slope: Float64Array, x: number): number {
  const last = xs.length - 1;
  let i = 0;
  while (i < last && x >= xs[i + 1]!) i++;
  return ys[i]! + (x - xs[i]!) * slope[i < last ? i : last - 1]!;
}
