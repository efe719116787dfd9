/**
 * Torque (N m) that a servo has to bring. Static sums and the torque to accelerate; friction, play and
 * the inertia of the servo's own gear are left out, which is what the margin is for.
 */

/** Standard acceleration of gravity (m/s2): ISO 80000-3, 3rd CGPM 1901. */
export const GRAVITY = 9.80665;
const RAD = Math.PI / 180;

/** Common practice, no source: a servo holds, in service, no more than about half of its stall torque. */
export const WANTED_MARGIN = 2;

/** Torque of a spring on a hinge, in the direction of rising angles. */
interface Spring {
  torqueNm: number;
  /** Where it has this torque (deg). */
  atDeg: number;
  /** How its torque changes with the angle (N m/deg); a spring that relaxes as it pushes: below 0. */
  rateNmPerDeg: number;
}

/** A flap on a hinge whose axis is level. */
export interface FlapLoad {
  massKg: number;
  /** Hinge to centre of mass (mm). */
  centreMm: number;
  /** The angle at which the centre of mass is level with the hinge (deg); unknown: at every angle. */
  levelDeg?: number | undefined;
  /** Whether the flap's weight is lifted there by rising or by falling angles. */
  lifts: 'rising' | 'falling';
  spring?: Spring | undefined;
  /** Moment of inertia about the hinge (kg m2); without it that of an even plate. */
  inertiaKgM2?: number | undefined;
}

/** One segment of an arm that swings in an upright plane. */
export interface ArmSegment {
  massKg: number;
  /** Its own joint to its centre of mass (mm). */
  centreMm: number;
  /** Its own joint to the joint of the segment that it carries (mm). */
  lengthMm: number;
  /**
   * First segment: the angle at which it is level (deg); unknown: it may point anywhere. The others:
   * the angle at which it is in line with the one that carries it.
   */
  zeroDeg: number | undefined;
  limitsDeg: readonly [number, number];
}

/**
 * Moment of inertia of a flap about its hinge (kg m2). Without a given one it is an even plate on a hinge
 * along its edge, m (2 c)2 / 3 with its centre of mass c from the hinge: a table of moments of inertia in
 * any handbook of mechanics (from memory). A flap whose centre is in its axis has 0: nothing is known.
 */
export function flapInertia({ massKg, centreMm, inertiaKgM2 }: FlapLoad): number {
  return inertiaKgM2 ?? (massKg * ((2 * centreMm) / 1000) ** 2) / 3;
}

/**
 * Torque (N m, in the direction of rising angles) that holds a flap still at an angle (deg): against
 * m g r cos(angle from level), less the spring's. Where the level is unknown, the weight is all there or
 * not at all, whichever asks for more.
 */
export function holdingNm(flap: FlapLoad, deg: number): number {
  const { massKg, centreMm, levelDeg, lifts, spring } = flap;
  const fullNm = massKg * GRAVITY * (centreMm / 1000) * (lifts === 'rising' ? 1 : -1);
  const springNm = spring ? spring.torqueNm + spring.rateNmPerDeg * (deg - spring.atDeg) : 0;
  if (levelDeg !== undefined) return fullNm * Math.cos((deg - levelDeg) * RAD) - springNm;
  return Math.abs(fullNm - springNm) > Math.abs(springNm) ? fullNm - springNm : -springNm;
}

/**
 * Share of its stall torque against which the gear train of a servo without pulses or power holds still.
 * An assumption, no source: gears differ, and they wear.
 */
export const GEAR_HOLDS = 0.2;
/** What falls with less energy than this (J) is not told. An assumption, no source. */
export const LIGHT_FALL_J = 0.2;

/** Where a flap goes when nothing but the friction of the gears holds it. */
export interface Fall {
  fromDeg: number;
  /** Where it comes to balance, or the limit behind which it is stopped by something else (deg). */
  toDeg: number;
  /** Whether that is a limit. */
  atLimit: boolean;
  /** The most that turns it on the way, at the hinge, friction not taken off (N m). */
  torqueNm: number;
  /** What friction leaves of the fall (J). */
  energyJ: number;
}

/**
 * The fall of a flap that is let go at an angle (deg) within limits: from rest, by gravity and spring,
 * against friction, in steps; undefined where friction holds it or it lies against its limit already.
 * @param frictionAt torque of friction on the hinge (N m) at an angle (deg)
 */
export function fallOf(
  flap: FlapLoad,
  fromDeg: number,
  [low, high]: readonly [number, number],
  frictionAt: (deg: number) => number,
): Fall | undefined {
  const startNm = -holdingNm(flap, fromDeg);
  if (Math.abs(startNm) <= frictionAt(fromDeg)) return undefined;
  const way = Math.sign(startNm);
  const end = way > 0 ? high : low;
  const span = Math.abs(end - fromDeg);
  if (span < 1e-6) return undefined;
  const stepDeg = span / STEPS;
  let [torqueNm, energyJ, toDeg] = [0, 0, fromDeg];
  for (let i = 0; i < STEPS; i++) {
    const deg = fromDeg + way * (i + 0.5) * stepDeg;
    const drivesNm = -holdingNm(flap, deg) * way;
    // It swings on until friction and what turns it back have used up its energy.
    const nextJ = energyJ + (drivesNm - frictionAt(deg)) * stepDeg * RAD;
    if (nextJ <= 0) return { fromDeg, toDeg, atLimit: false, torqueNm, energyJ };
    energyJ = nextJ;
    torqueNm = Math.max(torqueNm, drivesNm);
    toDeg = deg + (way * stepDeg) / 2;
  }
  return { fromDeg, toDeg: end, atLimit: true, torqueNm, energyJ };
}

/** Torque (N m) that accelerates an inertia (kg m2) at `accelDegS2` (deg/s2): Newton's second law. */
export function accelerationNm(inertiaKgM2: number, accelDegS2: number): number {
  return inertiaKgM2 * accelDegS2 * RAD;
}

/** The most that a servo has to bring, and where. */
export interface Worst {
  /** At the servo (N m). */
  torqueNm: number;
  /** The channel's angle there (deg). */
  atDeg: number;
  /** The part of it that accelerates (N m, at the servo). */
  accelerationNm: number;
}

/** Angles tried between the limits. */
const STEPS = 360;

/**
 * The worst torque over the limits, as the servo feels it: |torque on the joint| x |velocity ratio|
 * (virtual work), holding plus starting to accelerate against it.
 * @param holdAt the size of the holding torque on the joint (N m) at an angle (deg)
 * @param startNm torque that accelerates the joint (N m)
 * @param ratioAt turn of the joint for a small turn of the servo, at an angle (deg); 1 without a linkage
 */
export function worstTorque(
  [low, high]: readonly [number, number],
  holdAt: (deg: number) => number,
  startNm: number,
  ratioAt: (deg: number) => number = () => 1,
): Worst {
  let worst: Worst = { torqueNm: -1, atDeg: low, accelerationNm: 0 };
  for (let i = 0; i <= STEPS; i++) {
    const atDeg = low + ((high - low) * i) / STEPS;
    const ratio = Math.abs(ratioAt(atDeg));
    const torqueNm = (Math.abs(holdAt(atDeg)) + startNm) * ratio;
    if (torqueNm > worst.torqueNm) worst = { torqueNm, atDeg, accelerationNm: startNm * ratio };
  }
  return worst;
}

/** Directions of segments are told apart by this much (deg). */
const GRID_DEG = 0.5;
const TURN = 360 / GRID_DEG;

/**
 * The largest holding torque (N m) on every joint of an arm, first joint first, over all positions
 * that the joints' limits allow. Segment j contributes k_j cos(its direction from level), with
 * k_j = g (m_j c_j + L_j x mass beyond): the moments of its own weight and of what hangs at its end.
 * Directions are rounded to half degrees: off by 0.5 % of the sum of all k for each joint at most.
 * @returns per joint the torque for an angle (deg) of this joint
 */
export function armHoldingNm(arm: readonly ArmSegment[]): ((deg: number) => number)[] {
  const moments = arm.map(({ massKg, centreMm, lengthMm }, j) => {
    const beyondKg = arm.slice(j + 1).reduce((sum, one) => sum + one.massKg, 0);
    return (GRAVITY * (massKg * centreMm + beyondKg * lengthMm)) / 1000;
  });
  // By direction of segment j: the most that it and all beyond it can have, either way round.
  const maxOf: (readonly [onward: Round, back: Round])[] = [];
  for (let j = arm.length - 1; j >= 0; j--) {
    const next = arm[j + 1];
    const [from, to] = next ? turned(next, next.limitsDeg) : [0, 0];
    const reach = (way: 0 | 1) =>
      new Round((deg) => {
        const ownNm = moments[j]! * Math.cos(deg * RAD) * (way === 0 ? 1 : -1);
        return ownNm + (next ? maxOf[j + 1]![way].max(deg + from, deg + to) : 0);
      });
    maxOf[j] = [reach(0), reach(1)];
  }
  // Where the segment before it may point (deg); the first is carried by something that stands still.
  let carrier: readonly [number, number] = arm[0]?.zeroDeg === undefined ? [0, 360] : [0, 0];
  return arm.map((segment, j) => {
    const [low, high] = carrier;
    const range = turned(segment, segment.limitsDeg);
    carrier = [low + range[0], high + range[1]];
    const [onward, back] = maxOf[j]!;
    return (deg) => {
      const [at] = turned(segment, [deg, deg]);
      return Math.max(onward.max(low + at, high + at), back.max(low + at, high + at));
    };
  });
}

/** A segment's angles as turns against the one that carries it (deg). */
function turned(
  { zeroDeg = 0 }: ArmSegment,
  [low, high]: readonly [number, number],
): [number, number] {
  return [low - zeroDeg, high - zeroDeg];
}

/**
 * Values by direction, all the way round, and the most of them over any range of directions: a sparse
 * table, level k of which has the most of 2^k values in a row.
 */
class Round {
  readonly #levels: Float64Array[];

  constructor(valueAt: (deg: number) => number) {
    this.#levels = [Float64Array.from({ length: TURN }, (_, i) => valueAt(i * GRID_DEG))];
    for (let width = 1; 2 * width <= TURN; width *= 2) {
      const last = this.#levels.at(-1)!;
      this.#levels.push(last.map((value, i) => Math.max(value, last[(i + width) % TURN]!)));
    }
  }

  /** The highest value between two angles (deg). */
  max(fromDeg: number, toDeg: number): number {
    const from = Math.round(fromDeg / GRID_DEG);
    const wanted = Math.round(toDeg / GRID_DEG) - from + 1;
    // All the way round where the range cannot be told; one direction where its ends are swapped.
    if (!Number.isFinite(from) || !Number.isFinite(wanted)) return this.max(0, 360);
    const count = Math.max(Math.min(wanted, TURN), 1);
    const level = Math.floor(Math.log2(count));
    const values = this.#levels[level]!;
    const first = ((from % TURN) + TURN) % TURN;
    return Math.max(values[first]!, values[(first + count - 2 ** level) % TURN]!);
  }
}

/**
 * Moment of inertia (kg m2) of everything from a joint on, about that joint, with the arm straight and
 * each mass in its centre: no position has more.
 */
export function armInertia(arm: readonly ArmSegment[], joint: number): number {
  let reachMm = 0;
  let inertia = 0;
  for (const { massKg, centreMm, lengthMm } of arm.slice(joint)) {
    inertia += massKg * ((reachMm + centreMm) / 1000) ** 2;
    reachMm += lengthMm;
  }
  return inertia;
}
