import { factsOf } from '../boards/registry.ts';
import { tidy } from '../shared/units.ts';
import { Calibration, PulseBounds } from '../sums/calibration.ts';
import { closingRange, isBelow } from '../sums/linkage.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import type { Path } from './finding.ts';
import type { Limits, Notes } from './notes.ts';
import type { Board, ServoChannel } from './schema.ts';

/**
 * Checks calibration, envelope, limits, marks and park of a servo. @param limits gets its soft limits if
 * they are valid
 */
export function lintServo(notes: Notes, name: string, servo: ServoChannel, limits: Limits): void {
  const sound = lintRange(notes, name, servo);
  if (sound) limits.set(name, sound);
  for (const [mark, deg] of Object.entries(servo.marks ?? {}))
    notes.checkPosition(name, deg, ['channels', name, 'marks', mark], limits);
  notes.checkPosition(name, servo.park.to, ['channels', name, 'park', 'to'], limits);
}

/** The given or default limits, if low is below high. */
function lintRange(
  notes: Notes,
  name: string,
  servo: ServoChannel,
): readonly [number, number] | undefined {
  const { given } = notes;
  const path = (key: string): Path => ['channels', name, key];
  const calibration = given.broken(path('calibration'))
    ? undefined
    : lintCalibration(notes, servo, path('calibration'));
  if (servo.envelopeUs) lintOrder(notes, path('envelopeUs'), servo.envelopeUs, 'us');
  const ordered = !servo.limitsDeg || lintOrder(notes, path('limitsDeg'), servo.limitsDeg, 'deg');
  if (!ordered || given.broken(path('limitsDeg'))) return undefined;
  if (!calibration) return servo.limitsDeg;
  const envelopeSound = !given.broken(path('envelopeUs'));
  if (given.broken(path('linkage')) || (servo.linkage && !envelopeSound)) return servo.limitsDeg;
  const mapping = lintMapping(notes, servo, path('linkage'));
  if (!mapping) return servo.limitsDeg;
  if (servo.linkage) lintSide(notes, servo.linkage, path('linkage'));
  const { envelopeUs } = mapping;
  const limits = servo.limitsDeg ?? mapping.calibrationDeg;
  if (!(envelopeUs[0] < envelopeUs[1]) || !envelopeSound) return limits;
  if (
    lintToggles(notes, name, servo, mapping) &&
    lintReach(notes, servo, mapping, path('limitsDeg'))
  )
    lintLimits(notes, name, servo, mapping, limits);
  return limits;
}

function lintMapping(notes: Notes, servo: ServoChannel, path: Path): ServoMapping | undefined {
  try {
    return new ServoMapping(servo);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    const right = closingRange(servo.linkage!)
      ? 'measure the lengths, hornZeroDeg and crossed again, or move envelopeUs to where it closes'
      : 'measure the four lengths again, between the centres of shaft, pins and hinge';
    notes.error(path, error.message, right);
    return undefined;
  }
}

/** Closer to the line than this (deg), one cannot see on which side of it the horn's pin is. */
const IN_LINE_DEG = 1;

/** Checks that the calibration's 0 shows in which of its two ways a linkage is assembled. */
function lintSide(
  notes: Notes,
  { hornZeroDeg, crossed }: NonNullable<ServoChannel['linkage']>,
  path: Path,
): void {
  const offDeg = Math.abs(hornZeroDeg - 180 * Math.round(hornZeroDeg / 180));
  if (offDeg >= IN_LINE_DEG) return;
  const side = isBelow(hornZeroDeg) ? 'below' : 'above';
  notes.warning(
    [...path, 'hornZeroDeg'],
    `where the calibration says 0 the horn lies in line with the hinge, so nobody can see whether the rod crosses that line; crossed: ${crossed} is taken as with the horn just ${side} it`,
    'let the calibration say 0 where the horn is away from the line, and measure hornZeroDeg there',
  );
}

/** Least distance of the horn from a toggle position (deg): common practice, no source. */
const TOGGLE_CLEARANCE_DEG = 1;

/** No pulse that may be sent must bring the linkage into, or through, a toggle position. */
function lintToggles(
  notes: Notes,
  name: string,
  servo: ServoChannel,
  { calibration, linkage, envelopeUs }: ServoMapping,
): boolean {
  if (!linkage) return true;
  const [low, high] = linkage.hornRangeDeg;
  const safe = [low + TOGGLE_CLEARANCE_DEG, high - TOGGLE_CLEARANCE_DEG] as const;
  const pulses = safe.map((deg) => calibration.toPulseUs(deg)).sort((a, b) => a - b);
  const right = `set envelopeUs within ${Math.ceil(pulses[0]!)} to ${Math.floor(pulses[1]!)} us`;
  let isSafe = true;
  for (const [i, us] of envelopeUs.entries()) {
    const hornDeg = calibration.toDeg(us);
    const end = hornDeg < safe[0] ? 0 : hornDeg > safe[1] ? 1 : undefined;
    if (end === undefined) continue;
    isSafe = false;
    const at = `${tidy(linkage.hornRangeDeg[end], 1)} deg`;
    const what = {
      horn: `horn and rod are in line at ${at} (toggle position)`,
      flap: `rod and flap arm are in line at ${at} (toggle position)`,
      none: `its angle repeats beyond ${at}`,
    }[linkage.ends[end] ?? 'none'];
    const key = servo.envelopeUs ? ['envelopeUs', i] : ['calibration'];
    notes.error(
      ['channels', name, ...key],
      `a pulse of ${us} us turns the horn to ${tidy(hornDeg, 1)} deg, and ${what}`,
      right,
    );
  }
  return isSafe;
}

/** The soft limits must be within reach of the linkage. */
function lintReach(
  notes: Notes,
  servo: ServoChannel,
  { linkage, envelopeDeg }: ServoMapping,
  path: Path,
): boolean {
  if (!linkage || !servo.limitsDeg) return true;
  const [low, high] = linkage.flapRangeDeg;
  const beyond = servo.limitsDeg.findIndex((deg) => !(deg > low && deg < high));
  if (beyond < 0) return true;
  notes.error(
    [...path, beyond],
    `${servo.limitsDeg[beyond]} deg is out of reach of the linkage, which brings the flap from ${tidy(low, 1)} to ${tidy(high, 1)} deg`,
    `stay within ${inwards(envelopeDeg)}, or look at crossed and flapZeroDeg again`,
  );
  return false;
}

/** A range in words (deg), rounded inwards, so that every suggested value is allowed. */
function inwards([low, high]: readonly [number, number]): string {
  return `${Math.ceil(low * 100) / 100} to ${Math.floor(high * 100) / 100} deg`;
}

function lintOrder(notes: Notes, path: Path, [low, high]: [number, number], unit: string): boolean {
  if (low < high) return true;
  notes.error(
    path,
    `${low} ${unit} is not below ${high} ${unit}`,
    'give the lower one first',
    low > high ? { path, value: [high, low] } : undefined,
  );
  return false;
}

/** The pulse widths that any servo may get (us), as for envelopeUs in the schema. */
const MIN_US = 100;
const MAX_US = 3000;

function lintCalibration(notes: Notes, servo: ServoChannel, path: Path): Calibration | undefined {
  const points = servo.calibration;
  const [first, second] = [points[0]!, points[1]!];
  for (const [axis, quantity, unit] of [
    [0, 'pulse', 'us'],
    [1, 'angle', 'deg'],
  ] as const) {
    const direction = Math.sign(second[axis] - first[axis]);
    for (let i = 1; i < points.length; i++) {
      const [before, here] = [points[i - 1]![axis], points[i]![axis]];
      if ((here - before) * direction > 0) continue;
      const way = ['falling', 'rising or falling', 'rising'][direction + 1];
      notes.error(
        [...path, i],
        `the ${quantity} goes from ${before} to ${here} ${unit}, so the calibration turns back`,
        `measure this point again: the ${quantity} must keep ${way} from point to point`,
      );
      return undefined;
    }
  }
  const calibration = new Calibration(points);
  if (!servo.envelopeUs && (calibration.lowUs < MIN_US || calibration.highUs > MAX_US))
    notes.error(
      path,
      `the calibration reaches from ${calibration.lowUs} to ${calibration.highUs} us`,
      `give pulses in us within ${MIN_US} to ${MAX_US}, or set envelopeUs`,
    );
  return calibration;
}

function lintLimits(
  notes: Notes,
  name: string,
  servo: ServoChannel,
  mapping: ServoMapping,
  limits: readonly [number, number],
): void {
  const envelope = mapping.envelopeUs;
  const [lowDeg, highDeg] = mapping.calibrationDeg;
  const within = inwards(mapping.envelopeDeg);
  let sound = true;
  for (const [i, deg] of limits.entries()) {
    const path: Path = ['channels', name, ...(servo.limitsDeg ? ['limitsDeg', i] : ['envelopeUs'])];
    const pulseUs = mapping.toPulseUs(deg);
    if (pulseUs < envelope[0] - NOISE_US || pulseUs > envelope[1] + NOISE_US) {
      sound = false;
      const limit = servo.limitsDeg ? `${deg} deg` : `the default limit ${deg} deg`;
      const which = servo.envelopeUs ? 'envelope' : 'calibration';
      const other = servo.envelopeUs ? 'widen envelopeUs' : 'give a wider envelopeUs';
      notes.error(
        path,
        `${limit} is a pulse of ${tidy(pulseUs, 1)} us, outside the ${which}, ${envelope[0]} to ${envelope[1]} us`,
        `set limitsDeg within ${within}, or ${other}`,
      );
    } else if (deg < lowDeg - NOISE_DEG || deg > highDeg + NOISE_DEG) {
      notes.warning(
        path,
        `${deg} deg is beyond the calibration, ${tidy(lowDeg)} to ${tidy(highDeg)} deg, so its pulse is a guess`,
        'measure a calibration point out there',
      );
    }
  }
  if (!sound) return;
  const board = ownBoard(notes, servo);
  const stepUs = board ? factsOf(board).pulseStepUs(board) : 1;
  try {
    new PulseBounds(mapping, limits, envelope, stepUs);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    notes.error(
      ['channels', name, 'limitsDeg'],
      `no pulse lies within these limits: the board sends whole multiples of ${tidy(stepUs)} us`,
      'set the limits further apart',
    );
  }
}

/** Rounding error (us, deg). */
const NOISE_US = 1e-6;
const NOISE_DEG = 1e-9;

function ownBoard(notes: Notes, servo: ServoChannel): Board | undefined {
  const name = servo.output.board;
  return Object.hasOwn(notes.prop.boards, name) ? notes.prop.boards[name] : undefined;
}

// --- speeds ---------------------------------------------------------------------------------------

/**
 * If a speed is reached within a tick, acceleration is not limited; if it takes this long (s), it is
 * never reached.
 */
const TICK_S = 0.005;
const LONG_RISE_S = 5;

/** Reports speeds and accelerations that limit nothing, or too much. */
export function lintRates(notes: Notes, name: string, servo: ServoChannel): void {
  const at = ['channels', name];
  const { speedDegS, accelDegS2, jerkDegS3 } = servo;
  const broken = (key: string) => notes.given.broken([...at, key]);
  if (broken('speedDegS') || broken('accelDegS2')) return;
  lintRate(notes, [...at, 'accelDegS2'], speedDegS / accelDegS2, {
    what: `its speed, ${speedDegS} deg/s,`,
    low: Math.ceil(speedDegS / 0.5),
    high: Math.floor(speedDegS / 0.05),
    unit: 'deg/s2',
  });
  if (jerkDegS3 === undefined || broken('jerkDegS3')) return;
  lintRate(notes, [...at, 'jerkDegS3'], accelDegS2 / jerkDegS3, {
    what: `its acceleration, ${accelDegS2} deg/s2,`,
    low: Math.ceil(accelDegS2 / 0.5),
    high: Math.floor(accelDegS2 / 0.05),
    unit: 'deg/s3',
  });
}

function lintRate(
  notes: Notes,
  path: string[],
  riseS: number,
  { what, low, high, unit }: { what: string; low: number; high: number; unit: string },
): void {
  const usual = `${low} to ${high} ${unit} is usual`;
  // So small that no usual value can be suggested; the planner reports it where it matters.
  if (high < low) return;
  if (riseS < TICK_S)
    notes.warning(
      path,
      `with this the servo has ${what} within one tick of 5 ms, as if there were no limit`,
      `give less; ${usual}`,
    );
  else if (riseS > LONG_RISE_S)
    notes.warning(
      path,
      `with this the servo has ${what} only after ${tidy(riseS, 1)} s, and takes as long to stop`,
      `give more; ${usual}`,
    );
}
