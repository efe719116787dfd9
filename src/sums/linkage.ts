/**
 * The planar four-bar linkage from a servo's horn to a flap. Lengths are between centres (mm).
 * Angles (deg) of horn and flap arm are both measured from the direction of the line shaft to hinge,
 * anticlockwise. Valid for rigid links without play, in one plane.
 */
export interface FourBar {
  /** Servo shaft to hinge. */
  groundMm: number;
  /** Servo shaft to the pin in the horn. */
  hornMm: number;
  /** The rod, pin to pin. */
  couplerMm: number;
  /** Hinge to the pin in the flap. */
  flapMm: number;
}

/** A four-bar linkage with the maker's zeros of horn and flap degrees. */
export interface LinkageSpec extends FourBar {
  /** Angle of the horn where the calibration says 0 deg. */
  hornZeroDeg: number;
  /** Angle of the flap arm where the flap is at 0 deg; default: where it is with the horn at 0. */
  flapZeroDeg?: number | undefined;
  /**
   * Where the calibration says 0, the pin in the flap lies on the shaft's side of the line from the
   * horn's pin to the hinge. A rod that crosses the line from shaft to hinge always does.
   */
  crossed: boolean;
}

/** A position in which two links are in line. */
interface Toggle {
  /**
   * `horn`: the horn is in line with the rod, the flap is at an end of its travel, and the horn's torque
   * on it grows without bound. `flap`: the flap arm is in line with the rod; the horn cannot turn further
   * and cannot turn the flap.
   */
  links: 'horn' | 'flap';
  hornDeg: number;
  flapDeg: number;
}

const RAD = Math.PI / 180;
/** Rounding error of a cosine. */
const NOISE = 1e-12;
/** Horn and flap are used within this much of the middle (deg), so that no angle occurs twice. */
const WIDEST_DEG = 175;

/** An angle as -180 (not included) to 180 deg. */
function wrap(deg: number): number {
  const turned = deg - 360 * Math.round(deg / 360);
  return turned === -180 ? 180 : turned;
}

/**
 * Whether the flap's pin is to the right of the line from the horn's pin to the hinge: `right` of the
 * functions here. A linkage keeps its side until it reaches a toggle position, so the side is taken from
 * the maker's drawing: with the horn above the line to the hinge the shaft is to the right, below it to
 * the left. A horn in line counts as just above.
 */
export function isRight({ crossed, hornZeroDeg }: LinkageSpec): boolean {
  return crossed !== isBelow(hornZeroDeg);
}

/** Whether a horn at an angle (deg) points below the line from shaft to hinge. */
export function isBelow(hornDeg: number): boolean {
  return wrap(hornDeg) < 0;
}

/** Angle (deg) whose cosine is `cosine`; NaN beyond 1 by more than `slack`. */
function acosDeg(cosine: number, slack = NOISE): number {
  if (Math.abs(cosine) > 1 + slack) return Number.NaN;
  return Math.acos(Math.min(1, Math.max(-1, cosine))) / RAD;
}

/** One solution of p cos x + q sin x = r (deg); NaN when there is none. */
function solve(p: number, q: number, r: number, sign: 1 | -1, slack: number): number {
  return Math.atan2(q, p) / RAD + sign * acosDeg(r / Math.hypot(p, q), slack);
}

/** K3 of Freudenstein's equation. */
function third({ groundMm: g, hornMm: a, couplerMm: b, flapMm: c }: FourBar): number {
  return (a * a + c * c + g * g - b * b) / (2 * a * c);
}

/**
 * Angle of the flap arm (deg) for an angle of the horn (deg), by Freudenstein's equation K1 cos f - K2
 * cos h + K3 = cos(h - f) with K1 = ground / horn, K2 = ground / flap, K3 = (horn2 + flap2 + ground2 -
 * rod2) / (2 horn flap): F. Freudenstein, "Approximate synthesis of four-bar linkages", Trans. ASME 77
 * (1955). NaN where the linkage does not close.
 * @param right the side of the flap's pin, as `isRight`
 * @param slack rounding error of a cosine that is accepted
 */
export function flapOf(bar: FourBar, hornDeg: number, right: boolean, slack = NOISE): number {
  const cos = Math.cos(hornDeg * RAD);
  const p = cos - bar.groundMm / bar.hornMm;
  const q = Math.sin(hornDeg * RAD);
  return solve(p, q, third(bar) - (bar.groundMm / bar.flapMm) * cos, right ? 1 : -1, slack);
}

/** Angle of the horn (deg) for an angle of the flap arm (deg), as `flapOf`; `sign` picks one of two. */
function hornOf(bar: FourBar, flapDeg: number, sign: 1 | -1, slack = NOISE): number {
  const cos = Math.cos(flapDeg * RAD);
  const p = cos + bar.groundMm / bar.flapMm;
  const q = Math.sin(flapDeg * RAD);
  return solve(p, q, third(bar) + (bar.groundMm / bar.hornMm) * cos, sign, slack);
}

/** Both angles of the horn (deg) that put the flap arm at an angle (deg); NaN where it cannot reach it. */
export function hornsOf(bar: FourBar, flapDeg: number): [number, number] {
  return [hornOf(bar, flapDeg, -1), hornOf(bar, flapDeg, 1)];
}

/**
 * Velocity of the flap per velocity of the horn: the derivative of Freudenstein's equation. By virtual
 * work, torque on the horn = this x torque on the flap; its reciprocal is the mechanical advantage.
 */
export function velocityRatio(bar: FourBar, hornDeg: number, flapDeg: number): number {
  const between = Math.sin((hornDeg - flapDeg) * RAD);
  return (
    ((bar.groundMm / bar.flapMm) * Math.sin(hornDeg * RAD) + between) /
    ((bar.groundMm / bar.hornMm) * Math.sin(flapDeg * RAD) + between)
  );
}

/**
 * Transmission angle (deg, 0 to 90): between rod and flap arm, by the law of cosines. At 90 the rod's
 * whole force turns the flap, at 0 none of it does. NaN where the linkage does not close.
 */
export function transmissionDeg(bar: FourBar, hornDeg: number): number {
  const { groundMm: g, hornMm: a, couplerMm: b, flapMm: c } = bar;
  const pin2 = a * a + g * g - 2 * a * g * Math.cos(hornDeg * RAD);
  const angle = acosDeg((b * b + c * c - pin2) / (2 * b * c));
  return Math.min(angle, 180 - angle);
}

/**
 * Angles between horn and line (deg, 0 to 180, on either side of it) for which the linkage closes;
 * undefined when it never does. The horn can turn all the way round when they are 0 and 180: Grashof's
 * criterion, with horn or ground the shortest link.
 */
export function closingRange(bar: FourBar): [low: number, high: number] | undefined {
  const { groundMm: g, hornMm: a, couplerMm: b, flapMm: c } = bar;
  const links = [g, a, b, c];
  const longest = Math.max(...links);
  if (!(2 * longest < g + a + b + c)) return undefined;
  const at = (pinMm: number) => (a * a + g * g - pinMm * pinMm) / (2 * a * g);
  const low = at(Math.abs(b - c));
  const high = at(b + c);
  return [low >= 1 ? 0 : acosDeg(low), high <= -1 ? 180 : acosDeg(high)];
}

/** Every toggle position of one branch of a linkage that closes: `right` as `isRight`. */
export function toggles(bar: FourBar, right: boolean): Toggle[] {
  const { groundMm: g, hornMm: a, couplerMm: b, flapMm: c } = bar;
  const found: Toggle[] = [];
  for (const side of [1, -1]) {
    for (const pinMm of [b + c, Math.abs(b - c)]) {
      const hornDeg = side * acosDeg((a * a + g * g - pinMm * pinMm) / (2 * a * g));
      const flapDeg = flapOf(bar, hornDeg, right);
      if (Number.isFinite(flapDeg)) found.push({ links: 'flap', hornDeg, flapDeg });
    }
    for (const reachMm of [a + b, a - b]) {
      const flapDeg = side * acosDeg((reachMm * reachMm - c * c - g * g) / (2 * c * g));
      // The pin in the flap as seen from the shaft; the horn points away from it when folded over.
      const seenDeg =
        Math.atan2(c * Math.sin(flapDeg * RAD), g + c * Math.cos(flapDeg * RAD)) / RAD;
      const hornDeg = wrap(reachMm < 0 ? seenDeg + 180 : seenDeg);
      const off = Math.abs(wrap(flapOf(bar, hornDeg, right) - flapDeg));
      if (off < SAME_DEG) found.push({ links: 'horn', hornDeg, flapDeg });
    }
  }
  return found;
}

/** Two branches that differ by no more than this (deg) are the same. */
const SAME_DEG = 1e-3;
/** For angles that are known to close: a cosine beyond 1 is a rounding error. */
const INSIDE = Number.POSITIVE_INFINITY;
/** How far before a toggle position the usable range ends (deg). */
const END_DEG = 1e-9;

/**
 * A linkage in use, in the maker's degrees: horn deg as in the calibration, flap deg as in the channel's
 * commands. It is confined to the range between the two toggle positions on either side of the middle of
 * the horn's travel: there, each flap angle has one horn angle.
 */
export class Linkage {
  readonly bar: FourBar;
  /** The usable range of horn and flap (deg), low then high, up to the toggle positions. */
  readonly hornRangeDeg: readonly [number, number];
  readonly flapRangeDeg: readonly [number, number];
  /** The toggle that ends the range at low and at high horn angles; undefined where none does. */
  readonly ends: readonly [Toggle['links'] | undefined, Toggle['links'] | undefined];
  readonly #hornZeroDeg: number;
  readonly #flapZeroDeg: number;
  readonly #right: boolean;
  readonly #sign: 1 | -1;
  /** The middle of the range, from which angles are unwrapped (textbook deg). */
  readonly #midHornDeg: number;
  readonly #midFlapDeg: number;

  /**
   * @param midDeg the horn's middle position (deg of the calibration)
   * @throws RangeError with a sentence for the maker when the linkage cannot close, or not at `midDeg`
   */
  constructor(spec: LinkageSpec, midDeg: number) {
    this.bar = spec;
    this.#hornZeroDeg = spec.hornZeroDeg;
    this.#right = isRight(spec);
    const midHorn = spec.hornZeroDeg + midDeg;
    const midFlap = this.#mustClose(midHorn, `its middle position, ${round(midDeg)} deg`);
    const zeroDeg = spec.flapZeroDeg ?? this.#mustClose(spec.hornZeroDeg, '0 deg');
    // Of all full turns of the flap's zero, the one nearest to the middle.
    this.#flapZeroDeg = midFlap - wrap(midFlap - zeroDeg);
    this.#midHornDeg = midHorn;
    this.#midFlapDeg = midFlap;
    const [one, other] = hornsOf(spec, midFlap);
    this.#sign = Math.abs(wrap(one - midHorn)) < Math.abs(wrap(other - midHorn)) ? -1 : 1;
    const ratio = velocityRatio(spec, midHorn, midFlap);
    if (!(Math.abs(ratio) > NOISE && Math.abs(ratio) < 1 / NOISE))
      throw new RangeError(
        `with the horn at its middle position, ${round(midDeg)} deg, the linkage is in a toggle position`,
      );
    const rises = ratio > 0;
    let low = -WIDEST_DEG;
    let high = WIDEST_DEG;
    const ends: [Toggle['links'] | undefined, Toggle['links'] | undefined] = [undefined, undefined];
    for (const { links, hornDeg } of toggles(spec, this.#right)) {
      const away = wrap(hornDeg - midHorn);
      if (away <= 0 && away > low) [low, ends[0]] = [away, links];
      if (away >= 0 && away < high) [high, ends[1]] = [away, links];
    }
    // A flap that turns all the way round is used only within one turn.
    for (const widest of [-WIDEST_DEG, WIDEST_DEG]) {
      const hornDeg = hornOf(spec, midFlap + widest, this.#sign);
      const off = Math.abs(wrap(flapOf(spec, hornDeg, this.#right) - midFlap - widest));
      const away = wrap(hornDeg - midHorn);
      if (!(off < SAME_DEG) || away * widest > 0 !== rises) continue;
      if (away < 0 && away > low) [low, ends[0]] = [away, undefined];
      if (away > 0 && away < high) [high, ends[1]] = [away, undefined];
    }
    // Rounding must not put an end where the linkage no longer closes.
    low += midHorn + END_DEG;
    high += midHorn - END_DEG;
    this.ends = ends;
    this.hornRangeDeg = [low - spec.hornZeroDeg, high - spec.hornZeroDeg];
    const flaps = [this.#flapAt(low), this.#flapAt(high)] as const;
    this.flapRangeDeg = rises ? flaps : [flaps[1], flaps[0]];
  }

  /** Flap (deg) for a horn angle (deg), which is limited to the range. Allocates nothing. */
  toFlap(hornDeg: number): number {
    const [low, high] = this.hornRangeDeg;
    return this.#flapAt(Math.min(Math.max(hornDeg, low), high) + this.#hornZeroDeg);
  }

  /** Horn (deg) for a flap angle (deg), which is limited to the range. Allocates nothing. */
  toHorn(flapDeg: number): number {
    const [low, high] = this.flapRangeDeg;
    const inside = Math.min(Math.max(flapDeg, low), high) + this.#flapZeroDeg;
    const away = wrap(hornOf(this.bar, inside, this.#sign, INSIDE) - this.#midHornDeg);
    return this.#midHornDeg + away - this.#hornZeroDeg;
  }

  /** Velocity of the flap per velocity of the horn, with the flap at an angle (deg). */
  ratioAt(flapDeg: number): number {
    return velocityRatio(
      this.bar,
      this.toHorn(flapDeg) + this.#hornZeroDeg,
      flapDeg + this.#flapZeroDeg,
    );
  }

  /** Transmission angle (deg) with the flap at an angle (deg). */
  transmissionAt(flapDeg: number): number {
    return transmissionDeg(this.bar, this.toHorn(flapDeg) + this.#hornZeroDeg);
  }

  #flapAt(hornDeg: number): number {
    const away = wrap(flapOf(this.bar, hornDeg, this.#right, INSIDE) - this.#midFlapDeg);
    return this.#midFlapDeg + away - this.#flapZeroDeg;
  }

  #mustClose(hornDeg: number, where: string): number {
    const { groundMm, hornMm, couplerMm, flapMm } = this.bar;
    const range = closingRange(this.bar);
    if (!range)
      throw new RangeError(
        `links of ${groundMm}, ${hornMm}, ${couplerMm} and ${flapMm} mm cannot close: the longest must be shorter than the other three together`,
      );
    const flapDeg = flapOf(this.bar, hornDeg, this.#right);
    if (Number.isFinite(flapDeg)) return flapDeg;
    throw new RangeError(
      `the linkage does not close with the horn at ${where}, which is ${round(Math.abs(wrap(hornDeg)))} deg from the line shaft to hinge: it closes from ${round(range[0])} to ${round(range[1])} deg`,
    );
  }
}

const round = (deg: number) => Math.round(deg * 10) / 10;
