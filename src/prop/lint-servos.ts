import { tidy } from '../shared/units.ts';
import { Calibration, PulseBounds } from '../sums/calibration.ts';
import type { Path } from './finding.ts';
import type { Limits, Notes } from './notes.ts';
import type { Board, ServoChannel } from './schema.ts';

/**
 * Calibration, envelope, limits, marks and park of every servo.
 * @returns the soft limits of those servos whose limits are sound.
 */
export function lintServos(notes: Notes): Limits {
  const limits: Limits = new Map();
  for (const [name, servo] of Object.entries(notes.prop.channels)) {
    if (servo.kind !== 'servo') continue;
    const sound = lintRange(notes, name, servo);
    if (sound) limits.set(name, sound);
    for (const [mark, deg] of Object.entries(servo.marks ?? {}))
      notes.checkPosition(name, deg, ['channels', name, 'marks', mark], limits);
    notes.checkPosition(name, servo.park.to, ['channels', name, 'park', 'to'], limits);
  }
  return limits;
}

/** The declared or default limits, when low is below high. */
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
  const limits = servo.limitsDeg ?? ([calibration.lowDeg, calibration.highDeg] as const);
  const envelope = servo.envelopeUs ?? ([calibration.lowUs, calibration.highUs] as const);
  if (envelope[0] < envelope[1] && !given.broken(path('envelopeUs')))
    lintLimits(notes, name, servo, calibration, limits, envelope);
  return limits;
}

function lintOrder(notes: Notes, path: Path, [low, high]: [number, number], unit: string): boolean {
  if (low < high) return true;
  notes.error(path, `${low} ${unit} is not below ${high} ${unit}`, 'give the lower one first');
  return false;
}

/** The pulse widths that a servo may be given at all (us), as for envelopeUs in the schema. */
const LEAST_US = 100;
const MOST_US = 3000;

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
        `the ${quantity} goes from ${before} to ${here} ${unit}, so the calibration is not monotonic`,
        `measure this point again: the ${quantity} must keep ${way} from point to point`,
      );
      return undefined;
    }
  }
  const calibration = new Calibration(points);
  if (!servo.envelopeUs && (calibration.lowUs < LEAST_US || calibration.highUs > MOST_US))
    notes.error(
      path,
      `the calibration reaches from ${calibration.lowUs} to ${calibration.highUs} us`,
      `give pulses in us within ${LEAST_US} to ${MOST_US}, or set envelopeUs`,
    );
  return calibration;
}

function lintLimits(
  notes: Notes,
  name: string,
  servo: ServoChannel,
  calibration: Calibration,
  limits: readonly [number, number],
  envelope: readonly [number, number],
): void {
  const reach = envelope.map((us) => calibration.toDeg(us)).sort((a, b) => a - b);
  // Rounded inwards, so that the limits suggested are allowed.
  const within = `${Math.ceil(reach[0]! * 100) / 100} to ${Math.floor(reach[1]! * 100) / 100} deg`;
  let sound = true;
  for (const [i, deg] of limits.entries()) {
    const path: Path = ['channels', name, ...(servo.limitsDeg ? ['limitsDeg', i] : ['envelopeUs'])];
    const pulseUs = calibration.toPulseUs(deg);
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
    } else if (deg < calibration.lowDeg || deg > calibration.highDeg) {
      notes.warning(
        path,
        `${deg} deg is beyond the calibration, ${calibration.lowDeg} to ${calibration.highDeg} deg, so its pulse is a guess`,
        'measure a calibration point out there',
      );
    }
  }
  if (!sound) return;
  const stepUs = pulseStepUs(ownBoard(notes, servo));
  try {
    new PulseBounds(calibration, limits, envelope, stepUs);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    notes.error(
      ['channels', name, 'limitsDeg'],
      `no pulse lies within these limits: the board sends whole multiples of ${tidy(stepUs)} us`,
      'set the limits further apart',
    );
  }
}

/** Rounding in the sums (us). */
const NOISE_US = 1e-6;

function ownBoard(notes: Notes, servo: ServoChannel): Board | undefined {
  const name = servo.output.board;
  return Object.hasOwn(notes.prop.boards, name) ? notes.prop.boards[name] : undefined;
}

/** Smallest difference between two pulses (us). A PCA9685 counts 4096 steps a period (its datasheet). */
function pulseStepUs(board: Board | undefined): number {
  if (board?.driver === 'pca9685') return 1e6 / board.frequencyHz / 4096;
  return board?.driver === 'pigpio' ? board.sampleUs : 1;
}
