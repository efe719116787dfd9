import { edgeForceN, torqueShare } from '../sums/edge-force.ts';
import { KGF_CM_NM, type RatedServo, ratedAt } from '../sums/servo-line.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import {
  type ArmSegment,
  accelerationNm,
  armWorst,
  type Fall,
  fallOf,
  flapInertia,
  GEAR_HOLDS,
  holdingNm,
  LIGHT_FALL_J,
  type Worst,
  worstTorque,
} from '../sums/torque.ts';
import { freeRunningOf } from './free-running.ts';
import { servoOf } from './kinds/channel.ts';
import { railOf } from './rails.ts';
import type { Prop, ServoChannel } from './schema.ts';
import { pushOf } from './senses.ts';

/** Computed mechanics of one servo's load; parts are absent where the file does not give enough. */
export interface Mechanics {
  /** The largest torque that the servo has to supply within its soft limits. */
  worst?: Worst;
  /** Stall torque / worst torque. */
  margin?: number;
  /** Stall torque at the voltage of its rail (N m). */
  stallNm?: number;
  linkage?: LinkageFigures;
  /** The force at its edge. */
  edge?: EdgeForce;
  /** The hardest fall when it loses power at any angle within its soft limits; absent if it stays. */
  fall?: Fall;
  /** The fall when it loses power at its park position. */
  parkFall?: Fall;
}

/** How hard a flap can press with its edge. */
export interface EdgeForce {
  /** With the stall torque, and what its weight adds (N); and where that is most (deg). */
  stallN: number;
  atDeg: number;
  /** From here on it counts as pushing and backs off (N), after so long (s): where its current is measured. */
  push?: { newtons: number; afterS: number };
}

/** The data sheet values of a servo, in N m. */
export function ratedOf({ rated }: ServoChannel): RatedServo | undefined {
  if (!rated) return undefined;
  const { volts, speedDegS, stallNm, stallKgfCm } = rated;
  return {
    volts,
    speedDegS,
    stallNm: stallNm ?? (stallKgfCm === undefined ? undefined : stallKgfCm * KGF_CM_NM),
  };
}

/** Stall torque of a servo (N m) at a voltage, by default its rail's; undefined if it is not given. */
export function stallNmOf(prop: Prop, spec: ServoChannel, atV?: number): number | undefined {
  const { stallNm, stallKgfCm } = spec;
  const railV = railOf(prop, spec.rail)?.volts;
  const given = stallNm ?? (stallKgfCm === undefined ? undefined : stallKgfCm * KGF_CM_NM);
  // It is given for the rail's voltage, and is proportional to the voltage.
  if (given !== undefined) return railV && atV !== undefined ? (given * atV) / railV : given;
  const rated = ratedOf(spec);
  return rated && ratedAt(rated, atV ?? railV ?? rated.volts).stallNm;
}

/** A linkage within the soft limits of its channel. */
export interface LinkageFigures {
  /** The least transmission angle (deg), and where (the channel's deg). */
  transmissionDeg: number;
  transmissionAtDeg: number;
  /** Highest speed of the horn when the flap runs at its speed limit (deg/s), and where (deg). */
  hornSpeedDegS: number;
  hornSpeedAtDeg: number;
  /** Torque on the flap for 1 N m on the horn: least, greatest. */
  advantage: [least: number, most: number];
}

/** A servo of the prop file whose mapping is valid. */
interface ValidServo {
  spec: ServoChannel;
  mapping: ServoMapping;
  limitsDeg: readonly [number, number];
}

/**
 * The soft limits of a servo (deg): as given, or the ends of its calibration. If the linkage is not valid
 * they are the horn's.
 */
export function softLimits(spec: ServoChannel): readonly [number, number] {
  if (spec.limitsDeg) return spec.limitsDeg;
  const sound = spec.linkage && validMapping(spec);
  if (sound) return sound.calibrationDeg;
  const angles = spec.calibration.map(([, deg]) => deg);
  return [Math.min(...angles), Math.max(...angles)];
}

function validMapping(spec: ServoChannel): ServoMapping | undefined {
  try {
    return new ServoMapping(spec);
  } catch (error) {
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

type LimitsOf = (spec: ServoChannel, name: string) => readonly [number, number];

/**
 * The mechanics of every servo that has any in the prop file, by channel. @param limitsOf the soft limits
 * in use (deg); default: those of the prop file
 */
export function mechanicsOf(prop: Prop, limitsOf: LimitsOf = softLimits): Map<string, Mechanics> {
  const found = new Map<string, Mechanics>();
  const arms = new Map<string, (servo: ValidServo) => Worst>();
  for (const arm of armsOf(prop)) addArm(prop, arm, limitsOf, arms);
  for (const [name, spec] of Object.entries(prop.channels)) {
    const given = servoOf(spec);
    if (!given?.linkage && !given?.load && !given?.edge) continue;
    const mapping = validMapping(given);
    if (!mapping) continue;
    const servo = { spec: given, mapping, limitsDeg: limitsOf(given, name) };
    const worst = arms.get(name)?.(servo) ?? flapWorst(servo);
    const stallNm = stallNmOf(prop, given);
    const edge = stallNm === undefined ? undefined : edgeForce(prop, name, servo, stallNm);
    found.set(name, {
      ...(servo.mapping.linkage && { linkage: linkageFigures(servo) }),
      ...(worst && { worst }),
      ...falls(servo),
      ...(edge && { edge }),
      ...(stallNm !== undefined && { stallNm }),
      ...(worst?.torqueNm && stallNm !== undefined && { margin: stallNm / worst.torqueNm }),
    });
  }
  return found;
}

function flapWorst({ spec, mapping, limitsDeg }: ValidServo): Worst | undefined {
  const flap = spec.load?.flap;
  if (!flap) return undefined;
  const startNm = accelerationNm(flapInertia(flap), spec.accelDegS2);
  return worstTorque(limitsDeg, (deg) => holdingNm(flap, deg), startNm, ratioOf(mapping));
}

/** The force at the edge, over all angles within the limits. */
function edgeForce(
  prop: Prop,
  name: string,
  { spec, mapping, limitsDeg: [low, high] }: ValidServo,
  stallNm: number,
): EdgeForce | undefined {
  if (!spec.edge) return undefined;
  const { armMm } = spec.edge;
  const ratio = ratioOf(mapping);
  const flap = spec.load?.flap;
  const most = (motorNm: number) => {
    let [newtons, atDeg] = [-1, low];
    for (let i = 0; i <= STEPS; i++) {
      const deg = low + ((high - low) * i) / STEPS;
      const onFlapNm = ratio ? motorNm / Math.abs(ratio(deg)) : motorNm;
      // On one of the two ways the weight presses as well.
      const weightNm = flap ? Math.abs(holdingNm(flap, deg)) : 0;
      const here = edgeForceN(onFlapNm + weightNm, armMm);
      if (here > newtons) [newtons, atDeg] = [here, deg];
    }
    return { newtons, atDeg };
  };
  const stall = most(stallNm);
  const noticed = pushNoticed(prop, name, spec);
  return {
    stallN: stall.newtons,
    atDeg: stall.atDeg,
    ...(noticed && {
      push: { newtons: most(noticed.share * stallNm).newtons, afterS: noticed.afterS },
    }),
  };
}

/** The share of its stall torque from which a push is noticed, and after how long (s). */
function pushNoticed(
  prop: Prop,
  name: string,
  spec: ServoChannel,
): { share: number; afterS: number } | undefined {
  const { idleA = 0, stallA = 0 } = spec.draw ?? {};
  const free = freeRunningOf(spec);
  const freeA = free && Math.max(free.risingA, free.fallingA);
  let found: { share: number; afterS: number } | undefined;
  for (const sense of Object.values(prop.senses)) {
    const push = pushOf(sense);
    if (push?.channel !== name) continue;
    const overA = freeA !== undefined && push.overA !== undefined ? freeA + push.overA : undefined;
    const aboveA = Math.min(push.aboveA ?? Infinity, overA ?? Infinity);
    if (!(aboveA < stallA)) continue;
    const share = torqueShare(aboveA, idleA, stallA);
    if (!found || share < found.share) found = { share, afterS: push.forS };
  }
  return found;
}

/** Number of angles from which falls are computed. */
const RELEASES = 36;

/** How a flap falls without power; light falls are left out. */
function falls({ spec, mapping, limitsDeg }: ValidServo): Pick<Mechanics, 'fall' | 'parkFall'> {
  const flap = spec.load?.flap;
  const [low, high] = limitsDeg;
  if (!flap || !(low < high)) return {};
  const ratio = ratioOf(mapping);
  const heldNm = GEAR_HOLDS * (spec.stallNm ?? 0);
  // Friction is inside the servo: it acts on the hinge like a torque, by virtual work.
  const frictionAt = (deg: number) => (ratio ? heldNm / Math.abs(ratio(deg)) : heldNm);
  const from = (deg: number) => {
    const fall = fallOf(flap, Math.min(Math.max(deg, low), high), limitsDeg, frictionAt);
    return fall && fall.energyJ >= LIGHT_FALL_J ? fall : undefined;
  };
  let fall: Fall | undefined;
  for (let i = 0; i <= RELEASES; i++) {
    const one = from(low + ((high - low) * i) / RELEASES);
    if (one && !(fall && fall.energyJ >= one.energyJ)) fall = one;
  }
  const { to } = spec.park;
  const parkDeg = typeof to === 'number' ? to : spec.marks?.[to];
  const parkFall = parkDeg === undefined ? undefined : from(parkDeg);
  return { ...(fall && { fall }), ...(parkFall && { parkFall }) };
}

function ratioOf({ linkage }: ServoMapping): ((deg: number) => number) | undefined {
  return linkage && ((deg) => linkage.ratioAt(deg));
}

/** Number of angles that are evaluated between the soft limits. */
const STEPS = 200;

function linkageFigures({ spec, mapping, limitsDeg: [low, high] }: ValidServo): LinkageFigures {
  const linkage = mapping.linkage!;
  const figures: LinkageFigures = {
    transmissionDeg: Number.POSITIVE_INFINITY,
    transmissionAtDeg: low,
    hornSpeedDegS: 0,
    hornSpeedAtDeg: low,
    advantage: [Number.POSITIVE_INFINITY, 0],
  };
  for (let i = 0; i <= STEPS; i++) {
    const deg = low + ((high - low) * i) / STEPS;
    const transmissionDeg = linkage.transmissionAt(deg);
    if (transmissionDeg < figures.transmissionDeg)
      Object.assign(figures, { transmissionDeg, transmissionAtDeg: deg });
    const advantage = 1 / Math.abs(linkage.ratioAt(deg));
    const hornSpeedDegS = spec.speedDegS * advantage;
    if (hornSpeedDegS > figures.hornSpeedDegS)
      Object.assign(figures, { hornSpeedDegS, hornSpeedAtDeg: deg });
    figures.advantage[0] = Math.min(figures.advantage[0], advantage);
    figures.advantage[1] = Math.max(figures.advantage[1], advantage);
  }
  return figures;
}

// --- arms ---------------------------------------------------------------------------------------

/** The channels of every arm, first joint first; arms whose chain is broken or circular are left out. */
export function armsOf(prop: Prop): string[][] {
  const carried = new Set<string>();
  for (const name of Object.keys(prop.channels)) {
    const next = armOf(prop, name)?.carries;
    if (next !== undefined) carried.add(next);
  }
  const arms: string[][] = [];
  for (const first of Object.keys(prop.channels)) {
    if (!armOf(prop, first) || carried.has(first)) continue;
    const arm = [first];
    for (;;) {
      const next = armOf(prop, arm.at(-1)!)?.carries;
      if (next === undefined || !armOf(prop, next) || arm.includes(next)) break;
      arm.push(next);
    }
    arms.push(arm);
  }
  return arms;
}

type ArmLoad = NonNullable<NonNullable<ServoChannel['load']>['arm']>;

/** The arm segment that a servo moves; undefined if it has none, or `name` is not a servo. */
export function armOf(prop: Prop, name: string): ArmLoad | undefined {
  const channel = Object.hasOwn(prop.channels, name) ? prop.channels[name] : undefined;
  return servoOf(channel)?.load?.arm;
}

function addArm(
  prop: Prop,
  names: readonly string[],
  limitsOf: LimitsOf,
  into: Map<string, (servo: ValidServo) => Worst>,
): void {
  const segments = names.map((name, j): ArmSegment => {
    const spec = servoOf(prop.channels[name])!;
    const { massKg, centreMm, lengthMm = 0, levelDeg, straightDeg = 0 } = spec.load!.arm!;
    const { speedDegS, accelDegS2 } = spec;
    const zeroDeg = j === 0 ? levelDeg : straightDeg;
    const limitsDeg = limitsOf(spec, name);
    return { massKg, centreMm, lengthMm, zeroDeg, limitsDeg, speedDegS, accelDegS2 };
  });
  for (const [j, name] of names.entries())
    into.set(name, ({ spec: { linkage, calibration, envelopeUs }, mapping }) => {
      const key = JSON.stringify([segments, j, linkage && { linkage, calibration, envelopeUs }]);
      const worst = searched.get(key) ?? armWorst(segments, j, ratioOf(mapping));
      // The latest ones are last.
      searched.delete(key);
      searched.set(key, worst);
      if (searched.size > MOST_SEARCHED) searched.delete(searched.keys().next().value!);
      return worst;
    });
}

/** The worst positions of arms, by all that they rest on: a search takes long, and few edits make it necessary. */
const searched = new Map<string, Worst>();
const MOST_SEARCHED = 100;
