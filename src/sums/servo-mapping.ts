import { Calibration, type CalibrationPoint } from './calibration.ts';
import { Linkage, type LinkageSpec } from './linkage.ts';

/** Between the pulses of a servo (us) and the degrees in which its channel is commanded. */
export interface ServoMapping {
  /** The ends of the measured range; low < high whichever way the angle runs. */
  readonly lowDeg: number;
  readonly highDeg: number;
  readonly lowUs: number;
  readonly highUs: number;
  /** Pulse width (us, not rounded) for an angle (deg). Allocates nothing. */
  toPulseUs(deg: number): number;
  /** Angle (deg) for a pulse width (us). Allocates nothing. */
  toDeg(pulseUs: number): number;
}

/** What a prop file says of a servo's way from pulse to degrees. */
export interface MappingSpec {
  calibration: readonly CalibrationPoint[];
  envelopeUs?: readonly [number, number] | undefined;
  linkage?: LinkageSpec | undefined;
}

/** Pulse to horn by the calibration, horn to flap by the linkage. */
export class LinkedMapping implements ServoMapping {
  readonly lowDeg: number;
  readonly highDeg: number;
  readonly lowUs: number;
  readonly highUs: number;
  readonly linkage: Linkage;
  readonly #calibration: Calibration;

  /** @throws RangeError when the linkage does not close in the middle of the envelope */
  constructor(calibration: Calibration, envelopeUs: readonly [number, number], spec: LinkageSpec) {
    this.#calibration = calibration;
    const middleDeg = calibration.toDeg((envelopeUs[0] + envelopeUs[1]) / 2);
    this.linkage = new Linkage(spec, middleDeg);
    this.lowUs = calibration.lowUs;
    this.highUs = calibration.highUs;
    const one = this.toDeg(this.lowUs);
    const other = this.toDeg(this.highUs);
    this.lowDeg = Math.min(one, other);
    this.highDeg = Math.max(one, other);
  }

  toPulseUs(deg: number): number {
    return this.#calibration.toPulseUs(this.linkage.toHorn(deg));
  }

  toDeg(pulseUs: number): number {
    return this.linkage.toFlap(this.#calibration.toDeg(pulseUs));
  }
}

/** The mapping of a servo. @throws RangeError as `Calibration` and `Linkage` */
export function mappingOf({ calibration, envelopeUs, linkage }: MappingSpec): ServoMapping {
  const measured = new Calibration(calibration);
  if (!linkage) return measured;
  return new LinkedMapping(measured, envelopeUs ?? [measured.lowUs, measured.highUs], linkage);
}
