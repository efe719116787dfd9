import { Calibration, type CalibrationPoint } from './calibration.ts';
import { Linkage, type LinkageSpec } from './linkage.ts';

/** What a prop file says about pulses and degrees of a servo. */
interface MappingSpec {
  calibration: readonly CalibrationPoint[];
  envelopeUs?: readonly [number, number] | undefined;
  linkage?: LinkageSpec | undefined;
}

/**
 * Converts between a servo's pulses (us) and the degrees of its channel: the calibration maps pulse to
 * horn, and the linkage, where there is one, maps horn to flap.
 */
export class ServoMapping {
  readonly calibration: Calibration;
  readonly linkage: Linkage | undefined;
  /**
   * The angles (deg) at the ends of the calibration, low then high even where the angle falls as the
   * pulse rises.
   */
  readonly calibrationDeg: readonly [number, number];
  /** The angles (deg) at the ends of the pulse envelope, low then high. */
  readonly envelopeDeg: readonly [number, number];
  /** The pulses (us) that no command leaves: as given, or the ends of the calibration. */
  readonly envelopeUs: readonly [number, number];

  /** @throws RangeError as `Calibration` and `Linkage` do; the linkage must close at the envelope's middle */
  constructor(spec: MappingSpec) {
    const calibration = new Calibration(spec.calibration);
    const { lowUs, highUs } = calibration;
    this.calibration = calibration;
    this.envelopeUs = spec.envelopeUs ?? [lowUs, highUs];
    const middleUs = (this.envelopeUs[0] + this.envelopeUs[1]) / 2;
    this.linkage = spec.linkage && new Linkage(spec.linkage, calibration.toDeg(middleUs));
    this.calibrationDeg = this.#degBetween(lowUs, highUs);
    this.envelopeDeg = this.#degBetween(...this.envelopeUs);
  }

  /** Pulse width (us, not rounded) for an angle (deg). Allocates nothing. */
  toPulseUs(deg: number): number {
    return this.calibration.toPulseUs(this.linkage ? this.linkage.toHorn(deg) : deg);
  }

  /** How far the horn turns between the ends of the pulse envelope (deg). */
  get hornSpanDeg(): number {
    const [oneUs, otherUs] = this.envelopeUs;
    return Math.abs(this.calibration.toDeg(otherUs) - this.calibration.toDeg(oneUs));
  }

  get pulseTable(): Float64Array | undefined {
    return this.linkage ? undefined : this.calibration.pulseTable;
  }

  /** Angle (deg) for a pulse width (us). Allocates nothing. */
  toDeg(pulseUs: number): number {
    const hornDeg = this.calibration.toDeg(pulseUs);
    return this.linkage ? this.linkage.toFlap(hornDeg) : hornDeg;
  }

  #degBetween(oneUs: number, otherUs: number): [number, number] {
    const one = this.toDeg(oneUs);
    const other = this.toDeg(otherUs);
    return [Math.min(one, other), Math.max(one, other)];
  }
}
