/**
 * Torque (N m) that a servo has to supply: static torque plus acceleration torque. Friction, play and the
 * inertia of the servo's own gears are left out; the margin is for these.
 */

/** Standard acceleration of gravity (m/s2): ISO 80000-3, 3rd CGPM 1901. */
export const GRAVITY = 9.80665;
const RAD = Math.PI / 180;

/** Common practice, no source: in service, a servo supplies no more than about half of its stall torque. */
export const WANTED_MARGIN = 2;

/** Torque of a spring on a hinge, in the direction of rising angles. */
interface Spring {
  torqueNm: number;
  /** The angle where it has this torque (deg). */
  atDeg: number;
  /** Change of its torque with the angle (N m/deg); negative for a spring that relaxes as it pushes. */
  rateNmPerDeg: number;
}

/** A flap on a hinge with a level axis. */
export interface FlapLoad {
  massKg: number;
  /** Hinge to centre of mass (mm). */
  centreMm: number;
  /**
   * The angle at which the centre of mass is level with the hinge (deg); if unknown, every angle counts
   * as such.
   */
  levelDeg?: number | undefined;
  /** Whether rising or falling angles lift the flap's weight there. */
  lifts: 'rising' | 'falling';
  spring?: Spring | undefined;
  /** Moment of inertia about the hinge (kg m2); default: that of a uniform plate. */
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
   * For the first segment: the angle at which it is level (deg); if unknown, it may point anywhere. For
   * the others: the angle at which it is in line with the segment that carries it.
   */
  zeroDeg: number | undefined;
  limitsDeg: readonly [number, number];
  /** Limits of its joint (deg/s, deg/s2). */
  speedDegS: number;
  accelDegS2: number;
}

/**
 * Moment of inertia of a flap about its hinge (kg m2). If none is given: a uniform plate hinged along its
 * edge, m (2 c)2 / 3 with its centre of mass c from the hinge; see the table of moments of inertia in any
 * handbook of mechanics (from memory). 0 for a flap whose centre of mass is on its axis: nothing is
 * known.
 */
export function flapInertia({ massKg, centreMm, inertiaKgM2 }: FlapLoad): number {
  return inertiaKgM2 ?? (massKg * ((2 * centreMm) / 1000) ** 2) / 3;
}

/**
 * Torque (N m, in the direction of rising angles) that holds a flap still at an angle (deg): against m g
 * r cos(angle from level), less the spring's. Where the level is unknown, the weight counts fully or not
 * at all, whichever needs more torque.
 */
export function holdingNm(flap: FlapLoad, deg: number): number {
  const { massKg, centreMm, levelDeg, lifts, spring } = flap;
  const fullNm = massKg * GRAVITY * (centreMm / 1000) * (lifts === 'rising' ? 1 : -1);
  const springNm = spring ? spring.torqueNm + spring.rateNmPerDeg * (deg - spring.atDeg) : 0;
  if (levelDeg !== undefined) return fullNm * Math.cos((deg - levelDeg) * RAD) - springNm;
  return Math.abs(fullNm - springNm) > Math.abs(springNm) ? fullNm - springNm : -springNm;
}

/**
 * A servo without pulses or power holds still against this share of its stall torque, by friction of its
 * gears. An assumption, no source: gears differ, and they wear.
 */
export const GEAR_HOLDS = 0.2;
/** A fall with less energy than this (J) is not reported. An assumption, no source. */
export const LIGHT_FALL_J = 0.2;

/** How a flap falls when only the friction of the gears holds it. */
export interface Fall {
  fromDeg: number;
  /** Where it comes to rest (deg): in balance, or at a limit, beyond which something else stops it. */
  toDeg: number;
  /** Whether `toDeg` is a limit. */
  atLimit: boolean;
  /** The largest driving torque on the way, at the hinge, before friction (N m). */
  torqueNm: number;
  /** The energy of the fall that friction leaves (J). */
  energyJ: number;
}

/**
 * The fall of a flap released from rest at an angle (deg) within limits: by gravity and spring, against
 * friction, in small steps. Undefined where friction holds it or it rests against its limit already.
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
    // It swings on until friction and the opposing torque have used up its energy.
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

/** The largest torque that a servo has to supply, and where. */
export interface Worst {
  /** At the servo (N m). */
  torqueNm: number;
  /** The channel's angle there (deg). */
  atDeg: number;
  /** The part of it that is for acceleration (N m, at the servo). */
  accelerationNm: number;
}

/** Angles tried between the limits. */
const STEPS = 360;

/**
 * The worst torque over the limits, at the servo: |torque on the joint| x |velocity ratio| (virtual
 * work), for holding plus accelerating.
 * @param holdAt the magnitude of the holding torque on the joint (N m) at an angle (deg)
 * @param startNm torque that accelerates the joint (N m)
 * @param ratioAt velocity of the joint per velocity of the servo, at an angle (deg); 1 without a linkage
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

// --- arms -----------------------------------------------------------------------------------------

/** The constants of an arm. */
interface ArmConstants {
  /** H of the equation in `armWorst` (kg m2). */
  coupling: number[][];
  /** G of it (N m). */
  weightNm: number[];
  /** The highest speed of each segment (rad/s), squared. */
  squares: number[];
  /** Room for what is worked out in each position: a search tries thousands of them. */
  spare: Record<'cos' | 'sin' | 'accel' | 'swing', number[]>;
}

function constantsOf(arm: readonly ArmSegment[]): ArmConstants {
  const beyondKg = arm.map((_, i) => arm.slice(i + 1).reduce((sum, one) => sum + one.massKg, 0));
  // Mass x distance that turns with each segment (kg m).
  const moments = arm.map(
    ({ massKg, centreMm, lengthMm }, i) => (massKg * centreMm + beyondKg[i]! * lengthMm) / 1000,
  );
  const coupling = arm.map(({ massKg, centreMm, lengthMm }, i) =>
    arm.map((other, k) => {
      if (k > i) return (lengthMm / 1000) * moments[k]!;
      if (k < i) return (other.lengthMm / 1000) * moments[i]!;
      return massKg * (centreMm / 1000) ** 2 + beyondKg[i]! * (lengthMm / 1000) ** 2;
    }),
  );
  let speed = 0;
  const squares = arm.map(({ speedDegS }) => {
    speed += speedDegS * RAD;
    return speed * speed;
  });
  const room = () => new Array<number>(arm.length).fill(0);
  const spare = { cos: room(), sin: room(), accel: room(), swing: room() };
  return { coupling, weightNm: moments.map((moment) => GRAVITY * moment), squares, spare };
}

/** The torque that a joint needs in one position of the arm, at the worst speeds and accelerations (N m). */
interface JointTorque {
  /** In total. */
  totalNm: number;
  /** To hold the weight. */
  holdNm: number;
}

/**
 * @param directions of the segments from level (rad) @param aboveNm less than this is of no interest
 * @returns undefined if it is certain that no more than `aboveNm` is asked for
 */
function asked(
  arm: readonly ArmSegment[],
  { coupling, weightNm, squares, spare }: ArmConstants,
  joint: number,
  directions: readonly number[],
  aboveNm: number,
): JointTorque | undefined {
  const count = arm.length;
  const { cos, sin, accel, swing } = spare;
  for (let i = 0; i < count; i++) {
    cos[i] = Math.cos(directions[i]!);
    sin[i] = Math.sin(directions[i]!);
    accel[i] = 0;
    swing[i] = 0;
  }
  let holdNm = 0;
  for (let i = joint; i < count; i++) {
    holdNm += weightNm[i]! * cos[i]!;
    const row = coupling[i]!;
    for (let k = 0; k < count; k++) {
      // Cosine and sine of the difference of the two directions.
      accel[k]! += row[k]! * (cos[i]! * cos[k]! + sin[i]! * sin[k]!);
      swing[k]! += row[k]! * (sin[i]! * cos[k]! - cos[i]! * sin[k]!);
    }
  }
  // A joint that accelerates moves all segments beyond it.
  let [startNm, along] = [0, 0];
  for (let k = count - 1; k >= 0; k--) {
    along += accel[k]!;
    startNm += Math.abs(along) * arm[k]!.accelDegS2 * RAD;
  }
  // With every segment as fast as it may be by itself, which takes no search.
  let [upNm, downNm] = [holdNm + startNm, startNm - holdNm];
  for (let k = 0; k < count; k++) {
    const most = swing[k]! * squares[k]!;
    if (most > 0) upNm += most;
    else downNm -= most;
  }
  if (upNm > aboveNm) upNm = holdNm + startNm + maxSquareSum(arm, swing);
  if (downNm > Math.max(aboveNm, upNm)) {
    const back = swing.map((one) => -one);
    downNm = startNm - holdNm + maxSquareSum(arm, back);
  }
  const totalNm = Math.max(upNm, downNm);
  if (totalNm <= aboveNm) return undefined;
  return { totalNm, holdNm: upNm > downNm ? holdNm : -holdNm };
}

/**
 * The maximum of the sum of weight x (speed of a segment)2 over all speeds of the joints (rad/s) within
 * their limits: one joint after the other is set to its best value, from both signs that it may have.
 */
function maxSquareSum(arm: readonly ArmSegment[], weights: readonly number[]): number {
  if (weights.every((one) => one === 0)) return 0;
  const limits = arm.map(({ speedDegS }) => speedDegS * RAD);
  const speeds = limits.slice();
  let most = 0;
  const starts = 2 ** Math.min(arm.length - 1, 4);
  // These run thousands of times for each position of an arm: plain loops that allocate nothing.
  for (let start = 0; start < starts; start++) {
    for (let i = 0; i < limits.length; i++) speeds[i] = (start >> i) & 1 ? -limits[i]! : limits[i]!;
    let last = -1;
    for (let round = 0; round < 8; round++) {
      for (let l = 0; l < limits.length; l++) speeds[l] = bestSpeed(l, limits[l]!, speeds, weights);
      let sum = 0;
      let speed = 0;
      for (let k = 0; k < weights.length; k++) {
        speed += speeds[k]!;
        sum += weights[k]! * speed * speed;
      }
      if (sum <= last * (1 + 1e-12)) break;
      last = sum;
    }
    most = Math.max(most, last);
  }
  return most;
}

/** The speed of one joint, within its limit, that makes the sum of squares largest (rad/s). */
function bestSpeed(
  joint: number,
  limit: number,
  speeds: readonly number[],
  weights: readonly number[],
): number {
  // With q the joint's speed and s that of a segment without it: sum of weight (s + q)2.
  let square = 0;
  let linear = 0;
  let without = 0;
  for (let k = 0; k < weights.length; k++) {
    if (k !== joint) without += speeds[k]!;
    if (k >= joint) {
      square += weights[k]!;
      linear += weights[k]! * without;
    }
  }
  // The parabola's ends differ by its linear part alone.
  let best = linear < 0 ? -limit : limit;
  if (square < 0) {
    const top = Math.min(Math.max(-linear / square, -limit), limit);
    if (square * top * top + 2 * linear * top > square * best * best + 2 * linear * best)
      best = top;
  }
  return best;
}

/** Joints of which every combination of limits is tried; beyond them, the lower one alone. */
const CORNERED = 8;
/** Positions tried; how many are then improved, and how far apart those are, as shares of a range. */
const TRIED = 400;
const IMPROVED = 40;
const APART = 0.15;
/** How many of the improved ones are followed to the end; the steps that end either stage, as shares of a range. */
const FOLLOWED = 6;
const COARSE = 1 / 100;
const FINEST = 1e-5;

/**
 * The largest torque that a joint of a serial arm in a vertical plane has to supply, over all positions,
 * speeds and accelerations that the limits of all its joints allow, neighbours included. With the
 * directions d of the segments from level (each the sum of the joints' angles before it), Lagrange's
 * equation gives for each direction i
 *   Q_i = sum over k of H_ik (cos(d_i - d_k) d_k'' + sin(d_i - d_k) d_k'2) + G_i cos d_i,
 * and a joint supplies the sum of Q_i of all segments beyond it: the mass matrix with its coupling,
 * centrifugal and Coriolis terms, and gravity. M. W. Spong and others, "Robot Modeling and Control",
 * chapter on dynamics; J. J. Craig, "Introduction to Robotics", likewise (from memory). Each mass counts
 * as a point at its centre. The worst position is searched for from many starts; it may be
 * missed by 1 or 2 %, as one hill may hide another.
 * @param ratioAt velocity of the joint per velocity of the servo, at an angle (deg); 1 without a linkage
 */
export function armWorst(
  arm: readonly ArmSegment[],
  joint: number,
  ratioAt: (deg: number) => number = () => 1,
): Worst {
  const constants = constantsOf(arm);
  // If the first segment's direction is unknown, it may point anywhere.
  const base: readonly [number, number] = arm[0]!.zeroDeg === undefined ? [-180, 180] : [0, 0];
  const ranges = [base, ...arm.map(({ limitsDeg }) => limitsDeg)].map(
    ([low, high]) => [low, Math.max(high - low, 0)] as const,
  );
  const degAt = (i: number, shares: readonly number[]) =>
    ranges[i]![0] + shares[i]! * ranges[i]![1];
  const directions = new Array<number>(arm.length).fill(0);
  type Found = Pick<Worst, 'torqueNm' | 'accelerationNm'> & { shares: readonly number[] };
  /** The torque in a position, if it is more than that in another. */
  const at = (shares: readonly number[], other?: Found): Found | undefined => {
    let direction = degAt(0, shares);
    for (let i = 0; i < arm.length; i++) {
      direction += degAt(i + 1, shares) - (arm[i]!.zeroDeg ?? 0);
      directions[i] = direction * RAD;
    }
    const ratio = Math.abs(ratioAt(degAt(joint + 1, shares)));
    const aboveNm = other ? other.torqueNm / ratio : Number.NEGATIVE_INFINITY;
    const found = asked(arm, constants, joint, directions, aboveNm);
    if (!found) return undefined;
    const { totalNm, holdNm } = found;
    const torqueNm = totalNm * ratio;
    // The division above has rounded.
    if (other && torqueNm <= other.torqueNm) return undefined;
    return { torqueNm, accelerationNm: (totalNm - holdNm) * ratio, shares };
  };
  const best = (all: Found[]) => all.sort((a, b) => b.torqueNm - a.torqueNm);
  const moving = ranges.flatMap(([, span], i) => (span > 0 ? [i] : []));
  const within = (share: number) => Math.min(Math.max(share, 0), 1);
  /**
   * Climbs from a position in steps that become smaller: along one range after another, and then as far again
   * in the same direction, for as long as that helps. R. Hooke, T. A. Jeeves, "Direct search", J. ACM 8, 1961
   * (from memory).
   */
  const climb = (from: Found, first: number, last: number) => {
    let start = from;
    for (let step = first; step > last; ) {
      let better = start;
      for (const i of moving)
        for (const by of [step, -step]) {
          const next = at(better.shares.with(i, within(better.shares[i]! + by)), better);
          if (!next) continue;
          better = next;
          break;
        }
      if (better === start) step /= 2;
      while (better !== start) {
        const { shares } = start;
        start = better;
        better =
          at(
            start.shares.map((share, i) => within(2 * share - shares[i]!)),
            start,
          ) ?? start;
      }
    }
    return start;
  };
  // The highest positions are often neighbours on one hill, and another hill is the highest.
  const hills: Found[] = [];
  for (const one of best(startsOf(arm, ranges).map((shares) => at(shares)!)))
    if (hills.length < IMPROVED && !hills.some((other) => isNear(one.shares, other.shares)))
      hills.push(one);
  const climbed = best(hills.map((one) => climb(one, 1 / 8, COARSE)));
  const followed = climbed.slice(0, FOLLOWED).map((one) => climb(one, COARSE, FINEST));
  const { torqueNm, accelerationNm, shares } = best(followed)[0]!;
  return { torqueNm, accelerationNm, atDeg: degAt(joint + 1, shares) };
}

/** Whether no joint is further apart than so much of its range. */
function isNear(a: readonly number[], b: readonly number[]): boolean {
  for (let i = 0; i < a.length; i++) if (Math.abs(a[i]! - b[i]!) >= APART) return false;
  return true;
}

/**
 * Positions to start from, as shares of each range: stretched out level both ways, with all joints at limits,
 * and spread evenly.
 */
function startsOf(
  arm: readonly ArmSegment[],
  ranges: readonly (readonly [low: number, span: number])[],
): number[][] {
  const share = (i: number, deg: number) => {
    const [low, span] = ranges[i]!;
    return span === 0 ? 0 : Math.min(Math.max((deg - low) / span, 0), 1);
  };
  const stretched = [0, 180].map((turn) => [
    share(0, 0),
    ...arm.map(({ zeroDeg = 0 }, i) => share(i + 1, zeroDeg + (i === 0 ? turn : 0))),
  ]);
  // Spread evenly by the fractional parts of multiples of square roots of primes (Kronecker).
  const roots = [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37].map(Math.sqrt);
  const even = Array.from({ length: TRIED }, (_, n) =>
    ranges.map((_, i) => ((n + 1) * (roots[i % roots.length]! + Math.floor(i / roots.length))) % 1),
  );
  // Where joints stand at their limits, a hill may be too narrow for those.
  const corners = Array.from({ length: 2 ** Math.min(ranges.length, CORNERED) }, (_, n) =>
    ranges.map((_, i) => (n >> i) & 1),
  );
  return [...stretched, ...corners, ...even];
}
