import { describe, expect, test } from 'vitest';
import { flapOf, velocityRatio } from '../../src/sums/linkage.ts';
import {
  type ArmSegment,
  accelerationNm,
  armWorst,
  type FlapLoad,
  fallOf,
  flapInertia,
  GRAVITY,
  holdingNm,
  worstTorque,
} from '../../src/sums/torque.ts';
import fc from '../fast-check.ts';

const RAD = Math.PI / 180;
const flap = (over: Partial<FlapLoad> = {}): FlapLoad => ({
  massKg: 0.5,
  centreMm: 200,
  levelDeg: 0,
  lifts: 'rising',
  ...over,
});
const segment = (over: Partial<ArmSegment> = {}): ArmSegment => ({
  massKg: 0.3,
  centreMm: 80,
  lengthMm: 150,
  zeroDeg: 0,
  limitsDeg: [-90, 90],
  speedDegS: 60,
  accelDegS2: 300,
  ...over,
});
const angle = fc.double({ min: -170, max: 170, noNaN: true });

describe('flap', () => {
  // 1 kgf cm = 0.0980665 N m: the kilogram-force is exactly 9.80665 N (NIST SP 811, appendix B).
  test('1 kg at 1 cm is a kilogram-force centimetre', () => {
    expect(holdingNm(flap({ massKg: 1, centreMm: 10 }), 0)).toBeCloseTo(0.0980665, 12);
    expect(GRAVITY).toBe(9.80665);
  });

  // A uniform rod let go from level starts with the angular acceleration 3 g / (2 L): worked in
  // OpenStax, University Physics, volume 1, chapter on dynamics of rotation (from memory).
  test('a falling rod: the torque that holds it is the one that accelerates it at 3 g / (2 L)', () => {
    const [massKg, lengthM] = [0.8, 0.5];
    const rod = flap({
      massKg,
      centreMm: (lengthM * 1000) / 2,
      inertiaKgM2: (massKg * lengthM ** 2) / 3,
    });
    const accelDegS2 = (3 * GRAVITY) / (2 * lengthM) / RAD;
    expect(accelerationNm(flapInertia(rod), accelDegS2)).toBeCloseTo(holdingNm(rod, 0), 12);
  });

  // A thin plate about an edge: m L2 / 3; here by adding up strips of it.
  test('without a given inertia it is an even plate on its hinge', () => {
    const strips = 2000;
    let sum = 0;
    for (let i = 0; i < strips; i++) sum += (0.5 / strips) * (((i + 0.5) * 0.4) / strips) ** 2;
    expect(flapInertia(flap())).toBeCloseTo(sum, 8);
    expect(flapInertia(flap({ inertiaKgM2: 0.7 }))).toBe(0.7);
  });

  // Conservation of energy: what it loses in height is m g h; any textbook on mechanics.
  test('a lid that is let go falls to its limit, and its energy is that of its height', () => {
    const one = fallOf(flap(), 60, [0, 90], () => 0)!;
    expect(one).toMatchObject({ fromDeg: 60, toDeg: 0, atLimit: true });
    expect(one.energyJ).toBeCloseTo(0.5 * GRAVITY * 0.2 * Math.sin(60 * RAD), 4);
    expect(one.torqueNm).toBeCloseTo(0.5 * GRAVITY * 0.2, 3);
  });

  test('it stays where friction holds it, where it is balanced and where it lies', () => {
    const fullNm = 0.5 * GRAVITY * 0.2;
    expect(fallOf(flap(), 60, [0, 90], () => fullNm * 0.6)).toBeUndefined();
    expect(fallOf(flap(), 50, [0, 90], () => fullNm * 0.6)).toBeDefined();
    expect(fallOf(flap(), 90, [0, 90], () => 1e-9)).toBeUndefined();
    expect(fallOf(flap(), 0, [0, 90], () => 0)).toBeUndefined();
    const spring = { torqueNm: fullNm * 2, atDeg: 0, rateNmPerDeg: 0 };
    expect(fallOf(flap({ spring }), 10, [0, 90], () => 0)).toMatchObject({ toDeg: 90 });
  });

  test('beyond upright it falls the other way, and a hanging one stays low', () => {
    expect(fallOf(flap(), 110, [0, 150], () => 0)).toMatchObject({ toDeg: 150, atLimit: true });
    expect(fallOf(flap(), -90, [-120, 0], () => 1e-3)).toBeUndefined();
    // It swings through and comes as high on the other side, less friction: a pendulum.
    const swing = fallOf(flap(), -60, [-170, 0], () => 0)!;
    expect(swing.atLimit).toBe(false);
    expect(Math.abs(swing.toDeg + 120)).toBeLessThan(1);
  });

  test('the torque is the slope of the height: virtual work, by numeric derivative', () => {
    fc.assert(
      fc.property(angle, angle, fc.constantFrom('rising', 'falling'), (deg, levelDeg, lifts) => {
        const one = flap({ levelDeg, lifts: lifts as FlapLoad['lifts'] });
        const sign = lifts === 'rising' ? 1 : -1;
        const energyJ = (at: number) =>
          one.massKg * GRAVITY * 0.2 * Math.sin(sign * (at - levelDeg) * RAD);
        const step = 1e-3;
        const slope = (energyJ(deg + step) - energyJ(deg - step)) / (2 * step * RAD);
        expect(holdingNm(one, deg)).toBeCloseTo(slope, 6);
      }),
    );
  });

  test('a spring that balances the lid at one angle leaves nothing to hold there', () => {
    const weightNm = 0.5 * GRAVITY * 0.2 * Math.cos(30 * RAD);
    const spring = { torqueNm: weightNm + 20 * 0.004, atDeg: 10, rateNmPerDeg: -0.004 };
    expect(holdingNm(flap({ spring }), 30)).toBeCloseTo(0, 12);
    expect(holdingNm(flap({ spring }), 60)).toBeLessThan(0);
  });

  test('where the level is not known, the weight or the spring alone counts, whichever is more', () => {
    const fullNm = 0.5 * GRAVITY * 0.2;
    const spring = (torqueNm: number) => ({ torqueNm, atDeg: 0, rateNmPerDeg: 0 });
    expect(holdingNm(flap({ levelDeg: undefined }), 77)).toBeCloseTo(fullNm, 12);
    expect(holdingNm(flap({ levelDeg: undefined, spring: spring(0.2) }), 0)).toBeCloseTo(
      fullNm - 0.2,
      12,
    );
    expect(holdingNm(flap({ levelDeg: undefined, spring: spring(0.9) }), 0)).toBeCloseTo(-0.9, 12);
  });

  test('the worst is found at level, with what accelerates on top', () => {
    const one = flap({ levelDeg: 20 });
    const worst = worstTorque([-10, 80], (deg) => holdingNm(one, deg), 0.05);
    expect(worst.atDeg).toBeCloseTo(20, 6);
    expect(worst.torqueNm).toBeCloseTo(0.5 * GRAVITY * 0.2 + 0.05, 9);
    expect(worst.accelerationNm).toBe(0.05);
  });

  test('through a linkage the work is the same on both sides, by small turns of the horn', () => {
    const bar = { groundMm: 62, hornMm: 24, couplerMm: 60, flapMm: 26 };
    const one = flap({ levelDeg: 60 });
    for (const hornDeg of [40, 70, 90, 120]) {
      const at = flapOf(bar, hornDeg, false);
      const worst = worstTorque(
        [at, at + 1e-9],
        (deg) => holdingNm(one, deg),
        0,
        (deg) => velocityRatio(bar, hornDeg, deg),
      );
      const step = 1e-3;
      const lifted = flapOf(bar, hornDeg + step, false) - flapOf(bar, hornDeg - step, false);
      const workNm = (Math.abs(holdingNm(one, at)) * Math.abs(lifted)) / (2 * step);
      expect(worst.torqueNm).toBeCloseTo(workNm, 5);
    }
  });
});

// --- arms: against another way to the same, by recursion from joint to joint ------------------------

/**
 * Torques on the joints (N m) by the recursive Newton-Euler method, for point masses in a plane: J. J.
 * Craig, "Introduction to Robotics", chapter on manipulator dynamics (from memory). Velocities and
 * accelerations go outward as vectors, forces and moments come back inward; no mass matrix is made.
 */
function newtonEuler(arm: ArmSegment[], deg: number[], speed: number[], accel: number[]): number[] {
  // Gravity is the ground going up.
  let [ax, ay, turn, w, dw] = [0, GRAVITY, 0, 0, 0];
  const links = arm.map(({ centreMm, lengthMm, massKg, zeroDeg = 0 }, i) => {
    turn += (deg[i]! - zeroDeg) * RAD;
    w += speed[i]! * RAD;
    dw += accel[i]! * RAD;
    const [c, l] = [centreMm / 1000, lengthMm / 1000];
    const [ux, uy] = [Math.cos(turn), Math.sin(turn)];
    const at = (r: number) => [
      ax - dw * r * uy - w * w * r * ux,
      ay + dw * r * ux - w * w * r * uy,
    ];
    const [fx, fy] = at(c).map((one) => one * massKg) as [number, number];
    const joint = { fx, fy, cx: c * ux, cy: c * uy, lx: l * ux, ly: l * uy };
    [ax, ay] = at(l) as [number, number];
    return joint;
  });
  const torques: number[] = [];
  let [fx, fy, nm] = [0, 0, 0];
  for (const one of links.toReversed()) {
    nm += one.cx * one.fy - one.cy * one.fx + one.lx * fy - one.ly * fx;
    fx += one.fx;
    fy += one.fy;
    torques.unshift(nm);
  }
  return torques;
}

const joints = (most: number) =>
  fc.array(
    fc
      .tuple(
        fc.double({ min: 0.01, max: 1, noNaN: true }),
        fc.double({ min: 5, max: 200, noNaN: true }),
        fc.double({ min: 10, max: 300, noNaN: true }),
        fc.double({ min: -90, max: 90, noNaN: true }),
        fc.integer({ min: -120, max: 60 }),
        fc.integer({ min: 10, max: 120 }),
        fc.integer({ min: 5, max: 300 }),
        fc.integer({ min: 50, max: 1500 }),
      )
      .map(([massKg, centreMm, lengthMm, zeroDeg, low, span, speedDegS, accelDegS2]) =>
        segment({
          ...{ massKg, centreMm, lengthMm, zeroDeg, speedDegS, accelDegS2 },
          limitsDeg: [low, low + span],
        }),
      ),
    { minLength: 1, maxLength: most },
  );

/** By how much the search of the worst position may miss it, as its description says. */
const MISSED = 1.02;

describe('arm', () => {
  // Two links with the masses at their ends, as the textbooks have them (Craig, "Introduction to
  // Robotics", chapter on manipulator dynamics, from memory):
  // t1 = m2 l2^2 (q1'' + q2'') + m2 l1 l2 c2 (2 q1'' + q2'') + (m1 + m2) l1^2 q1'' - m2 l1 l2 s2 q2'^2
  //      - 2 m2 l1 l2 s2 q1' q2' + m2 l2 g c12 + (m1 + m2) l1 g c1
  // t2 = m2 l1 l2 c2 q1'' + m2 l1 l2 s2 q1'^2 + m2 l2 g c12 + m2 l2^2 (q1'' + q2'')
  test('two links: the most of the equation of the textbook, over a fine grid', () => {
    const [m1, m2, l1, l2] = [0.4, 0.25, 0.18, 0.12];
    const limits = { speedDegS: 200, accelDegS2: 900 };
    const arm = [
      segment({
        massKg: m1,
        centreMm: l1 * 1000,
        lengthMm: l1 * 1000,
        limitsDeg: [20, 80],
        ...limits,
      }),
      segment({
        massKg: m2,
        centreMm: l2 * 1000,
        lengthMm: l2 * 1000,
        limitsDeg: [-70, 10],
        ...limits,
      }),
    ];
    const [v, a] = [limits.speedDegS * RAD, limits.accelDegS2 * RAD];
    const most = [0, 0];
    const signs = [-1, -0.5, 0, 0.5, 1];
    for (let q1 = 20; q1 <= 80; q1++)
      for (let q2 = -70; q2 <= 10; q2++) {
        const [c1, c2, s2] = [Math.cos(q1 * RAD), Math.cos(q2 * RAD), Math.sin(q2 * RAD)];
        const c12 = Math.cos((q1 + q2) * RAD);
        for (const v1 of signs)
          for (const v2 of signs)
            for (const a1 of [-a, a])
              for (const a2 of [-a, a]) {
                const [w1, w2] = [v1 * v, v2 * v];
                const t1 =
                  m2 * l2 ** 2 * (a1 + a2) +
                  m2 * l1 * l2 * c2 * (2 * a1 + a2) +
                  (m1 + m2) * l1 ** 2 * a1 -
                  m2 * l1 * l2 * s2 * w2 ** 2 -
                  2 * m2 * l1 * l2 * s2 * w1 * w2 +
                  m2 * l2 * GRAVITY * c12 +
                  (m1 + m2) * l1 * GRAVITY * c1;
                const t2 =
                  m2 * l1 * l2 * c2 * a1 +
                  m2 * l1 * l2 * s2 * w1 ** 2 +
                  m2 * l2 * GRAVITY * c12 +
                  m2 * l2 ** 2 * (a1 + a2);
                most[0] = Math.max(most[0]!, Math.abs(t1));
                most[1] = Math.max(most[1]!, Math.abs(t2));
              }
      }
    for (const joint of [0, 1]) {
      const { torqueNm } = armWorst(arm, joint);
      expect(torqueNm).toBeGreaterThan(most[joint]! * (1 - 1e-9));
      expect(torqueNm).toBeLessThan(most[joint]! * 1.002);
    }
  });

  test('no position, speed or acceleration found by chance asks for more', () => {
    const random = fc.array(fc.double({ min: -1, max: 1, noNaN: true }), {
      minLength: 12,
      maxLength: 12,
    });
    fc.assert(
      fc.property(joints(4), fc.array(random, { minLength: 60, maxLength: 60 }), (arm, draws) => {
        const worst = arm.map((_, j) => armWorst(arm, j).torqueNm);
        for (const [n, draw] of draws.entries()) {
          const part = (i: number) => (n % 2 ? draw[i]! : Math.sign(draw[i]!));
          const angles = arm.map(({ limitsDeg: [low, high] }, i) => {
            return low + ((draw[i]! + 1) / 2) * (high - low);
          });
          const speeds = arm.map(({ speedDegS }, i) => part(4 + i) * speedDegS);
          const accels = arm.map(({ accelDegS2 }, i) => part(8 + i) * accelDegS2);
          for (const [j, nm] of newtonEuler(arm, angles, speeds, accels).entries())
            expect(Math.abs(nm)).toBeLessThan(worst[j]! * MISSED + 1e-9);
        }
      }),
      { numRuns: 60 },
    );
  });

  test('and what is told is really reached: a climb by Newton and Euler comes as high', () => {
    fc.assert(
      fc.property(joints(3), (arm) => {
        for (const joint of arm.keys()) {
          const { torqueNm } = armWorst(arm, joint);
          // The torque as a function of shares -1 to 1 of angle, speed and acceleration of each joint.
          const at = (shares: number[], sign: number) => {
            const of = (k: number, i: number) => shares[3 * i + k]!;
            const angles = arm.map(({ limitsDeg: [low, high] }, i) => {
              return low + ((of(0, i) + 1) / 2) * (high - low);
            });
            const speeds = arm.map(({ speedDegS }, i) => of(1, i) * speedDegS);
            const accels = arm.map(({ accelDegS2 }, i) => of(2, i) * accelDegS2);
            return sign * newtonEuler(arm, angles, speeds, accels)[joint]!;
          };
          let most = 0;
          for (let seed = 0; seed < 24; seed++)
            for (const sign of [1, -1]) {
              let shares = Array.from({ length: 3 * arm.length }, (_, i) =>
                Math.sin(12.9898 * (seed + 1) * (i + 1)),
              );
              for (let step = 0.5; step > 1e-3; ) {
                const tries = shares.flatMap((share, i) =>
                  [step, -step].map((by) => shares.with(i, Math.max(-1, Math.min(1, share + by)))),
                );
                const next = tries.reduce((a, b) => (at(b, sign) > at(a, sign) ? b : a));
                if (at(next, sign) > at(shares, sign) + 1e-12) shares = next;
                else step /= 2;
              }
              most = Math.max(most, at(shares, sign));
            }
          expect(most).toBeGreaterThan(torqueNm * 0.99);
          expect(most).toBeLessThan(torqueNm * MISSED + 1e-9);
        }
      }),
      { numRuns: 8 },
    );
  });

  test('the worst position is found in a corner of the limits, on a hill too narrow for others', () => {
    const arm = [
      segment({
        ...{ massKg: 0.296, centreMm: 19, lengthMm: 25, zeroDeg: 0 },
        ...{ limitsDeg: [31, 68], speedDegS: 150, accelDegS2: 999 },
      }),
      segment({
        ...{ massKg: 0.487, centreMm: 17, lengthMm: 24, zeroDeg: 0 },
        ...{ limitsDeg: [-42, 55], speedDegS: 120, accelDegS2: 735 },
      }),
      segment({
        ...{ massKg: 0.156, centreMm: 30, lengthMm: 111, zeroDeg: 0 },
        ...{ limitsDeg: [24, 129], speedDegS: 224, accelDegS2: 1187 },
      }),
    ];
    // Without ranges nothing is left to search for.
    const corner = armWorst(
      [31, -42, 24].map((deg, i) => ({ ...arm[i]!, limitsDeg: [deg, deg] })),
      2,
    );
    expect(armWorst(arm, 2).torqueNm).toBeGreaterThan(corner.torqueNm * (1 - 1e-9));
  });

  test('the worst position is found where many good ones lie on a lower hill', () => {
    const arm = [
      segment({
        ...{ massKg: 0.0754, centreMm: 124, lengthMm: 29.2, zeroDeg: 90 },
        ...{ limitsDeg: [60, 111], speedDegS: 8, accelDegS2: 285 },
      }),
      segment({
        ...{ massKg: 0.0371, centreMm: 11, lengthMm: 300, zeroDeg: 0 },
        ...{ limitsDeg: [-1, 86], speedDegS: 292, accelDegS2: 1500 },
      }),
      segment({
        ...{ massKg: 0.0411, centreMm: 10.8, lengthMm: 17.2, zeroDeg: -90 },
        ...{ limitsDeg: [-33, 85], speedDegS: 52, accelDegS2: 1491 },
      }),
    ];
    const [at, speed] = [
      [60, 0, -33],
      [-8, -292, -52],
    ];
    const nm = newtonEuler(arm, at, speed, [285, 1500, 1491])[2]!;
    expect(armWorst(arm, 2).torqueNm).toBeGreaterThan(Math.abs(nm));
  });

  test('an arm of which nobody knows where it is level counts as stretched out', () => {
    const still = { speedDegS: 1e-9, accelDegS2: 1e-9 };
    const { torqueNm } = armWorst(
      [segment({ zeroDeg: undefined, limitsDeg: [80, 90], ...still })],
      0,
    );
    expect(torqueNm).toBeCloseTo((0.3 * GRAVITY * 80) / 1000, 9);
  });
});
