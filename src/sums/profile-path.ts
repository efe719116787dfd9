/** Numbers per segment: start (s), position, velocity and acceleration there, jerk throughout. */
export const STRIDE = 5;

/** Position after `t` (s) of constant jerk from this state. */
export function posAfter(t: number, pos: number, vel: number, acc: number, jerk: number): number {
  return pos + t * (vel + t * (acc / 2 + (t * jerk) / 6));
}

/** Velocity after `t` (s) of constant jerk from this state. */
export function velAfter(t: number, vel: number, acc: number, jerk: number): number {
  return vel + t * (acc + (t * jerk) / 2);
}

/** Most segments a plan has: three to the cruise, the cruise, three to rest, and rest. */
const MOST = 8;

/**
 * Whether `distance`, the difference of sums of numbers as large as `scale`, is no more than their
 * rounding error. Covering it would take time: that of a double S goes with its cube root.
 */
export function isRounding(distance: number, scale: number): boolean {
  return distance === 0 || Math.abs(distance) / scale <= 8 * Number.EPSILON;
}

/**
 * Writes a motion segment by segment, in the coordinates of the formulas: the origin is where the motion
 * starts, and the positive direction may be either way. Reused, so that planning allocates only its
 * result.
 */
export class Path {
  /** The state reached so far: position from the start, velocity, acceleration. */
  pos = 0;
  vel = 0;
  acc = 0;
  /** Duration so far (s). */
  timeS = 0;
  #count = 0;
  #origin = 0;
  #sign = 1;
  readonly #numbers = new Float64Array(MOST * STRIDE);

  /** @param sign 1 or -1: the direction in which `pos` and `vel` count as positive. */
  begin(origin: number, sign: number, vel: number, acc: number): void {
    this.#origin = origin;
    this.#sign = sign;
    this.#count = 0;
    this.timeS = 0;
    this.pos = 0;
    this.vel = vel;
    this.acc = acc;
  }

  /** Continues for `durationS` with constant `jerk`; does nothing unless `durationS` is above 0. */
  add(jerk: number, durationS: number): void {
    if (durationS <= 0) return;
    const { pos, vel, acc } = this;
    const at = this.#count++ * STRIDE;
    this.#numbers[at] = this.timeS;
    this.#numbers[at + 1] = this.#origin + this.#sign * pos;
    this.#numbers[at + 2] = this.#sign * vel;
    this.#numbers[at + 3] = this.#sign * acc;
    this.#numbers[at + 4] = this.#sign * jerk;
    this.pos = posAfter(durationS, pos, vel, acc, jerk);
    this.vel = velAfter(durationS, vel, acc, jerk);
    this.acc = acc + durationS * jerk;
    this.timeS += durationS;
  }

  /** Position reached, in the caller's coordinates. */
  get endPos(): number {
    return this.#origin + this.#sign * this.pos;
  }

  /** Rests where it is until `untilS`. */
  restUntil(untilS: number): void {
    this.vel = 0;
    this.acc = 0;
    this.add(0, untilS - this.timeS);
  }

  /** @throws RangeError when the numbers have overflowed. */
  segments(): Float64Array {
    if (!Number.isFinite(this.timeS) || !Number.isFinite(this.pos)) {
      throw new RangeError('the motion is too large or too slow to be planned; check its limits');
    }
    return this.#numbers.slice(0, this.#count * STRIDE);
  }
}
