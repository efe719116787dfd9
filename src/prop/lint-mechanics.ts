import { tidy } from '../shared/units.ts';
import { ORIENTATION_TEXT } from '../sums/edge-force.ts';
import { KGF_CM_NM } from '../sums/servo-line.ts';
import { type Fall, GEAR_HOLDS, WANTED_MARGIN } from '../sums/torque.ts';
import { armOf, armsOf, type LinkageFigures, type Mechanics, mechanicsOf } from './mechanics.ts';
import type { Notes } from './notes.ts';
import type { ServoChannel } from './schema.ts';

/** Below this, friction and play dominate in a linkage (deg): common practice, no source. */
const MIN_TRANSMISSION_DEG = 40;

/** Checks linkages within their limits, and whether each servo is strong enough for its load. */
export function lintMechanics(notes: Notes): void {
  lintArms(notes);
  const broken = (name: string) =>
    ['calibration', 'envelopeUs', 'limitsDeg', 'linkage', 'load', 'stallNm', 'accelDegS2'].some(
      (key) => notes.given.broken(['channels', name, key]),
    );
  for (const [name, mechanics] of mechanicsOf(notes.prop)) {
    const servo = notes.prop.channels[name] as ServoChannel;
    // A channel with errors gets no findings that follow from them.
    if (broken(name) || notes.hasErrorIn(['channels', name])) continue;
    if (mechanics.linkage) lintLinkage(notes, name, servo, mechanics.linkage);
    lintTorque(notes, name, servo, mechanics);
    lintInertia(notes, name, servo);
    if (!broken('edge')) lintEdge(notes, name, servo, mechanics);
    if (!broken('marks') && !broken('park')) lintFall(notes, name, servo, mechanics);
  }
}

const deg = (value: number) => `${tidy(value, 1)} deg`;
const newtons = (value: number) => `${Number(value.toPrecision(2))} N`;
const nm = (value: number) => `${Number(value.toPrecision(2))} N m`;
/** N m with kgf cm, the unit in which servos are sold: 1 kgf cm is 0.0980665 N m. */
const both = (value: number) =>
  `${nm(value)} (${Number((value / KGF_CM_NM).toPrecision(2))} kgf cm)`;

function lintLinkage(
  notes: Notes,
  name: string,
  servo: ServoChannel,
  figures: LinkageFigures,
): void {
  const { transmissionDeg, transmissionAtDeg, hornSpeedDegS, hornSpeedAtDeg } = figures;
  const path = ['channels', name, 'linkage'];
  if (transmissionDeg < MIN_TRANSMISSION_DEG)
    notes.warning(
      path,
      `with the flap at ${deg(transmissionAtDeg)} the rod meets its arm at ${deg(transmissionDeg)}: below ${MIN_TRANSMISSION_DEG} deg friction and play grow (common practice)`,
      'keep limitsDeg further from there, or give the flap a longer arm',
    );
  const most = servo.linkage?.hornSpeedDegS;
  if (most !== undefined && hornSpeedDegS > most * (1 + 1e-9))
    notes.warning(
      ['channels', name, 'speedDegS'],
      `with the flap at ${deg(hornSpeedAtDeg)} its ${servo.speedDegS} deg/s need ${tidy(hornSpeedDegS, 0)} deg/s from the horn, which turns ${most} deg/s at most`,
      `set speedDegS to ${Math.floor((servo.speedDegS * most * 10) / hornSpeedDegS) / 10} or less`,
    );
}

function lintTorque(
  notes: Notes,
  name: string,
  _servo: ServoChannel,
  { worst, margin, stallNm }: Mechanics,
): void {
  if (!worst || margin === undefined || margin >= WANTED_MARGIN) return;
  const path = ['channels', name, 'stallNm'];
  const needs = `at ${deg(worst.atDeg)} it has to give ${both(worst.torqueNm)}`;
  const right = `take a servo of ${both(WANTED_MARGIN * worst.torqueNm)} or more, a lighter load, a spring or a lower accelDegS2`;
  if (margin < 1)
    notes.error(path, `${needs}, more than the ${both(stallNm!)} at which it stalls`, right);
  else
    notes.warning(
      path,
      `${needs}, and ${both(stallNm!)} stall it: ${tidy(margin, 1)} times is less than the ${WANTED_MARGIN} times of common practice`,
      right,
    );
}

/** The force at the edge against the limit that the maker sets. */
function lintEdge(
  notes: Notes,
  name: string,
  { edge: given }: ServoChannel,
  { edge }: Mechanics,
): void {
  if (!given) return;
  const { limitN } = given;
  const path = ['channels', name, 'edge'];
  if (!edge) {
    notes.warning(
      path,
      'the force at its edge is not known without the stall torque of its servo',
      'give stallNm or stallKgfCm',
    );
    return;
  }
  if (limitN === undefined || edge.stallN <= limitN) return;
  const { push, stallN, atDeg } = edge;
  const can = `at ${deg(atDeg)} its edge can press with ${newtons(stallN)}, more than the ${limitN} N of limitN`;
  const less =
    'take a weaker servo or a longer arm, fit a clutch or a soft edge, or keep fingers out with a guard';
  if (!push)
    notes.warning(
      [...path, 'limitN'],
      `${can}, for as long as it is blocked (${ORIENTATION_TEXT})`,
      `${less}; a sense that notices pushing would end it`,
    );
  else if (push.newtons > limitN)
    notes.warning(
      [...path, 'limitN'],
      `${can}, and counts as pushing only from ${newtons(push.newtons)} on (${ORIENTATION_TEXT})`,
      `${less}; or let a smaller current count as pushing`,
    );
  else
    notes.note(
      [...path, 'limitN'],
      `${can}, until it backs off: from ${newtons(push.newtons)} on it counts as pushing after ${push.afterS} s (${ORIENTATION_TEXT})`,
      less,
    );
}

/**
 * A flap that turns about its own centre of mass has no weight to lift, and its inertia cannot be
 * estimated.
 */
function lintInertia(notes: Notes, name: string, { load }: ServoChannel): void {
  const flap = load?.flap;
  if (flap?.centreMm !== 0 || flap.inertiaKgM2 !== undefined) return;
  notes.warning(
    ['channels', name, 'load', 'flap'],
    `with centreMm: 0 the file does not say how hard its ${flap.massKg} kg are to start, and the torque counts as 0`,
    'add inertiaKgM2: for an upright door mass (kg) x width (m) x width (m) / 3; for a turntable mass x radius x radius / 2',
  );
}

/** Names of marks of a closed position. */
const CLOSING = ['shut', 'closed', 'close', 'down'];

/**
 * Reports what falls when its servo has no power: at its park position, or after a stop that cuts the
 * power.
 */
function lintFall(
  notes: Notes,
  name: string,
  { park, marks = {}, load }: ServoChannel,
  { fall, parkFall }: Mechanics,
): void {
  const gears = `assuming that the gears hold ${GEAR_HOLDS * 100} % of stallNm`;
  const level =
    load?.flap?.levelDeg === undefined
      ? '; without levelDeg its whole weight counts everywhere'
      : '';
  const goes = (one: Fall) => {
    const mark = CLOSING.find((word) => {
      const at = Object.hasOwn(marks, word) ? marks[word] : undefined;
      return at !== undefined && (at - one.fromDeg) * (one.toDeg - one.fromDeg) > 0;
    });
    const where = one.atLimit ? `to its limit, ${deg(one.toDeg)},` : `to about ${deg(one.toDeg)}`;
    const pinch = mark === undefined ? '' : ` toward ${mark}, where it can pinch,`;
    return `falls ${where}${pinch} with up to ${both(one.torqueNm)}`;
  };
  if (parkFall && park.then === 'release')
    notes.warning(
      ['channels', name, 'park', 'then'],
      `let go at ${deg(parkFall.fromDeg)} it ${goes(parkFall)} (${gears}${level})`,
      'write then: hold, park it where it rests, or fit a spring or a counterweight',
    );
  if (fall)
    notes.warning(
      ['channels', name, 'load'],
      `at a stop of category 0 or 1, or when the power fails, it is let go: from ${deg(fall.fromDeg)} it ${goes(fall)} (${gears}${level})`,
      `fit a spring or a counterweight that gives ${both(fall.torqueNm)}, or a brake that holds without power; stop: category 2 holds it, a power cut does not`,
    );
}

/** Checks that each arm is one chain of segments. */
function lintArms(notes: Notes): void {
  const { prop, given } = notes;
  const carriedBy = new Map<string, string>();
  for (const name of Object.keys(prop.channels)) {
    const arm = armOf(prop, name);
    if (!arm) continue;
    const path = ['channels', name, 'load', 'arm'];
    const { carries, lengthMm } = arm;
    if (carries === undefined) continue;
    if (lengthMm === undefined && !given.broken([...path, 'lengthMm']))
      notes.error(
        path,
        `it carries ${carries}, but its length is not given`,
        'add lengthMm, from its joint to the next (mm)',
      );
    const next = notes.find('channels', carries, [...path, 'carries']);
    if (!next || given.broken(['channels', carries, 'load'])) continue;
    const other = carriedBy.get(carries);
    if (!armOf(prop, carries))
      notes.error(
        [...path, 'carries'],
        `${carries} is not a segment of an arm`,
        `give ${carries} a load: { arm: ... }, or remove carries and count its mass here`,
      );
    else if (other !== undefined)
      notes.error(
        [...path, 'carries'],
        `${carries} is carried by ${other} already`,
        'let one segment carry it',
      );
    else carriedBy.set(carries, name);
  }
  const inArm = new Set(armsOf(prop).flat());
  for (const name of Object.keys(prop.channels)) {
    const arm = armOf(prop, name);
    if (!arm) continue;
    const path = ['channels', name, 'load', 'arm'];
    if (!inArm.has(name)) {
      notes.error(
        [...path, 'carries'],
        `${name} carries itself, through ${arm.carries}`,
        'remove carries at the last segment of the arm',
      );
      return;
    }
    const isCarried = carriedBy.has(name);
    if (isCarried && arm.levelDeg !== undefined)
      notes.warning(
        [...path, 'levelDeg'],
        `it has no effect, as ${carriedBy.get(name)} carries ${name}`,
        'give straightDeg, where the two are in line',
      );
    if (!isCarried && arm.straightDeg !== undefined)
      notes.warning(
        [...path, 'straightDeg'],
        `it has no effect, as no segment carries ${name}`,
        'give levelDeg, where it is level',
      );
  }
}
