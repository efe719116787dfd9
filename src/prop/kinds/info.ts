import { tidy } from '../../shared/units.ts';
import type { LinkageSpec } from '../../sums/linkage.ts';
import { runTimeS, showTimeS } from '../../sums/vapour.ts';
import type { Mechanics } from '../mechanics.ts';
import type { RelayChannel } from './relay-schema.ts';
import type { ServoChannel } from './servo-schema.ts';

/** What clients are told about a channel from the file alone. */
export interface KindInfo {
  park: { to: number | string | boolean; then?: 'hold' | 'release' };
  /** For servos, down to `jerkDegS3`. */
  limitsDeg?: [number, number];
  envelopeUs?: [number, number];
  calibration?: [number, number][];
  linkage?: LinkageSpec;
  linkageFigures?: LinkageInfo;
  torque?: TorqueInfo;
  edge?: EdgeInfo;
  marks?: Record<string, number>;
  speedDegS?: number;
  accelDegS2?: number;
  jerkDegS3?: number;
  /** Also where it does not count, as `measured` says. */
  freeRunning?: { risingA: number; fallingA: number };
  /** For relays. */
  duty?: { maxOnS: number; restS: number };
  vapour?: VapourInfo;
  /** The contact as a circuit of its own. */
  terminals?: { common: string; open?: string | undefined; closed?: string | undefined };
  /** For lights. */
  fadeS?: number;
  /** For sounds: the loudest amplitude, and the least time of a fade (s). */
  sounds?: string[];
  ceiling?: number;
  fadeOutS?: number;
  /** Gains of red, green and blue. */
  whiteBalance?: [number, number, number];
  led?: LedInfo;
}

/** The LEDs of a light as in the prop file; of a coloured one, three forward voltages and resistors. */
export interface LedInfo {
  currentA: number;
  spreadV: number;
  supplyV?: number | undefined;
  forwardV: number | [number, number, number];
  resistorOhm?: number | [number, number, number] | undefined;
}

/** A linkage within the soft limits. */
export interface LinkageInfo {
  /** Least angle between rod and flap arm (deg), and where the flap is then (deg). */
  transmissionDeg: number;
  transmissionAtDeg: number;
  /** The horn's highest speed while the flap keeps its speed limit (deg/s). */
  hornSpeedDegS: number;
  /** Torque on the flap for 1 N m on the horn: least, greatest. */
  advantage: [number, number];
}

/** The largest torque that a servo has to supply within its soft limits. */
export interface TorqueInfo {
  worstNm: number;
  /** Its angle (deg). */
  atDeg: number;
  /** The part of it that is for acceleration (N m). */
  accelerationNm: number;
  stallNm?: number;
  /** Stall torque / worst torque; common practice is 2 or more. */
  margin?: number;
}

/** The force at the edge of a flap (N). */
export interface EdgeInfo {
  armMm: number;
  /** The most that the maker allows. */
  limitN?: number;
  /** With the stall torque; absent where that is not known. */
  stallN?: number;
  /** Where that is (deg). */
  atDeg?: number;
  /** From here on it backs off, after `pushS` (s); absent where its current is not measured. */
  pushN?: number;
  pushS?: number;
}

export interface VapourInfo {
  tankMl: number;
  rateMlPerH: number;
  /** How long the tank lasts with the unit always on (s). */
  runTimeS: number;
  /** How long it lasts with the unit on as often as its duty allows (s). */
  showTimeS?: number;
}

/** @param stallNm stall torque, if the file gives it (N m) */
export function torqueInfo(
  { worst, margin }: Mechanics,
  stallNm: number | undefined,
): TorqueInfo | undefined {
  return (
    worst && {
      worstNm: tidy(worst.torqueNm, 4),
      atDeg: tidy(worst.atDeg, 1),
      accelerationNm: tidy(worst.accelerationNm, 4),
      ...(stallNm !== undefined && { stallNm }),
      ...(margin !== undefined && { margin: tidy(margin, 2) }),
    }
  );
}

/** The force at the edge, rounded for people; undefined without `edge`. */
export function edgeInfo(given: ServoChannel['edge'], { edge }: Mechanics): EdgeInfo | undefined {
  if (!given) return undefined;
  const { armMm, limitN } = given;
  return {
    armMm,
    ...(limitN !== undefined && { limitN }),
    ...(edge && { stallN: tidy(edge.stallN, 1), atDeg: tidy(edge.atDeg, 1) }),
    ...(edge?.push && { pushN: tidy(edge.push.newtons, 1), pushS: edge.push.afterS }),
  };
}

/** The figures of a linkage, rounded for people; undefined without one. */
export function linkageInfo({ linkage }: Mechanics): LinkageInfo | undefined {
  return (
    linkage && {
      transmissionDeg: tidy(linkage.transmissionDeg, 1),
      transmissionAtDeg: tidy(linkage.transmissionAtDeg, 1),
      hornSpeedDegS: tidy(linkage.hornSpeedDegS, 0),
      advantage: [tidy(linkage.advantage[0], 2), tidy(linkage.advantage[1], 2)],
    }
  );
}

/** The tank, rate and running times (s) of a vapour unit; undefined for any other relay. */
export function vapourInfo({ vapour, duty }: RelayChannel): VapourInfo | undefined {
  return (
    vapour && {
      ...vapour,
      runTimeS: tidy(runTimeS(vapour), 0),
      ...(duty && { showTimeS: tidy(showTimeS(vapour, duty), 0) }),
    }
  );
}
