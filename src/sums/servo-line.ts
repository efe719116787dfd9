/**
 * The torque line of a servo's motor: its speed falls from the no-load speed to zero at the stall torque,
 * and its current rises with the torque. Equations of the direct-current motor (any handbook of
 * electrical machines; from memory): torque is proportional to current, both ends of the line to the
 * voltage. For a whole servo this is an estimate, as it includes gears and electronics.
 */

/** 1 kgf cm in N m: standard gravity, 9.80665 m/s2, times 0.01 m (ISO 80000-3, 3rd CGPM 1901). */
export const KGF_CM_NM = 0.0980665;

/** What a data sheet says about a servo at one voltage. */
export interface RatedServo {
  volts: number;
  /** No-load speed (deg/s). */
  speedDegS?: number | undefined;
  stallNm?: number | undefined;
}

/** The same servo at another voltage (V): speed and torque in proportion. */
export function ratedAt({ volts, speedDegS, stallNm }: RatedServo, atV: number): RatedServo {
  const share = Math.max(0, atV) / volts;
  return {
    volts: atV,
    ...(speedDegS !== undefined && { speedDegS: speedDegS * share }),
    ...(stallNm !== undefined && { stallNm: stallNm * share }),
  };
}

/** Speed (deg/s) under a load torque (N m): the straight line from the no-load speed to the stall. */
export function loadedSpeedDegS(freeDegS: number, loadNm: number, stallNm: number): number {
  return freeDegS * Math.max(0, 1 - Math.abs(loadNm) / stallNm);
}

/** Current (A) while a torque (N m) is held: it rises with the torque from the idle to the stall current. */
export function holdingA(
  { idleA, stallA }: { idleA: number; stallA: number },
  loadNm: number,
  stallNm: number,
): number {
  return idleA + (stallA - idleA) * Math.min(1, Math.abs(loadNm) / stallNm);
}
