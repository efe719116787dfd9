import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { flapOf, velocityRatio } from '../../src/sums/linkage.ts';
import {
  type ArmSegment,
  accelerationNm,
  armHoldingNm,
  armInertia,
  type FlapLoad,
  fallOf,
  flapInertia,
  GRAVITY,
  holdingNm,
  worstTorque,
} from '../../src/sums/torque.ts';

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

describe('arm', () => {
  // J. J. Craig, "Introduction to Robotics", chapter on manipulator dynamics: two links with the
  // masses at their ends; gravity terms (m1 + m2) l1 g cos q1 + m2 l2 g cos(q1 + q2) on the first
  // joint, m2 l2 g cos(q1 + q2) on the second (from memory).
  test('two links: the gravity terms of the textbook, at the worst elbow angle', () => {
    const [m1, m2, l1, l2] = [0.4, 0.25, 0.18, 0.12];
    const arm = [
      segment({ massKg: m1, centreMm: l1 * 1000, lengthMm: l1 * 1000, limitsDeg: [0, 80] }),
      segment({ massKg: m2, centreMm: l2 * 1000, lengthMm: l2 * 1000, limitsDeg: [-30, 90] }),
    ];
    const [first, second] = armHoldingNm(arm) as [(d: number) => number, (d: number) => number];
    for (const q1 of [0, 25, 60, 80]) {
      // Within -30 to 90 deg of the elbow, the forearm comes as near to level as this.
      const q12 = Math.max(q1 - 30, 0);
      const textbook =
        (m1 + m2) * l1 * GRAVITY * Math.cos(q1 * RAD) + m2 * l2 * GRAVITY * Math.cos(q12 * RAD);
      expect(first(q1)).toBeCloseTo(textbook, 6);
    }
    // The upper arm goes from 0 to 80: with the elbow at -30 the forearm is level at 30.
    expect(second(-30)).toBeCloseTo(m2 * l2 * GRAVITY, 6);
    // At 90 it points from 90 to 170: the most is at 170.
    expect(second(90)).toBeCloseTo(m2 * l2 * GRAVITY * Math.abs(Math.cos(170 * RAD)), 6);
  });

  test('no position found by chance asks for more, and the worst is nearly reached', () => {
    const joints = fc.array(
      fc
        .tuple(
          fc.double({ min: 0.01, max: 1, noNaN: true }),
          fc.double({ min: 5, max: 200, noNaN: true }),
          fc.double({ min: 10, max: 300, noNaN: true }),
          fc.double({ min: -90, max: 90, noNaN: true }),
          fc.integer({ min: -120, max: 60 }),
          fc.integer({ min: 10, max: 120 }),
        )
        .map(([massKg, centreMm, lengthMm, zeroDeg, low, span]) =>
          segment({ massKg, centreMm, lengthMm, zeroDeg, limitsDeg: [low, low + span] }),
        ),
      { minLength: 1, maxLength: 3 },
    );
    fc.assert(
      fc.property(joints, (arm) => {
        const holding = armHoldingNm(arm);
        const sizes = arm.map(() => 0);
        const tries = 13;
        const reached = arm.map(() => 0);
        const straightNm = arm.reduce(
          (sum, { massKg, centreMm, lengthMm }, i) =>
            sum +
            (GRAVITY / 1000) *
              (massKg * centreMm +
                lengthMm * arm.slice(i + 1).reduce((mass, one) => mass + one.massKg, 0)),
          0,
        );
        for (let n = 0; n < tries ** arm.length; n++) {
          const angles = arm.map(({ limitsDeg: [low, high] }, i) => {
            const share = (Math.floor(n / tries ** i) % tries) / (tries - 1);
            return low + share * (high - low);
          });
          // Forward kinematics: places of the joints and masses, then moments as force times lever.
          let [x, direction] = [0, 0];
          const jointX: number[] = [];
          const massX = arm.map(({ centreMm, lengthMm, zeroDeg = 0 }, i) => {
            jointX.push(x);
            direction += angles[i]! - zeroDeg;
            const at = x + centreMm * Math.cos(direction * RAD);
            x += lengthMm * Math.cos(direction * RAD);
            return at;
          });
          for (const i of arm.keys()) {
            const nm = massX
              .slice(i)
              .reduce(
                (sum, at, k) => sum + (GRAVITY * arm[i + k]!.massKg * (at - jointX[i]!)) / 1000,
                0,
              );
            expect(Math.abs(nm)).toBeLessThan(holding[i]!(angles[i]!) + 0.015 * straightNm);
            reached[i] = Math.max(reached[i]!, Math.abs(nm));
          }
        }
        for (const [i, { limitsDeg: limits }] of arm.entries()) {
          sizes[i] = worstTorque(limits, holding[i]!, 0).torqueNm;
          // A grid of up to 10 deg misses the worst by no more than 5 deg per joint.
          expect(reached[i]!).toBeGreaterThan(
            sizes[i]! - 0.015 * straightNm - straightNm * 3 * Math.sin(5 * RAD),
          );
        }
      }),
      { numRuns: 60 },
    );
  });

  test('an arm of which nobody knows where it is level counts as stretched out', () => {
    const [alone] = armHoldingNm([segment({ zeroDeg: undefined, limitsDeg: [80, 90] })]);
    expect(alone!(85)).toBeCloseTo((0.3 * GRAVITY * 80) / 1000, 9);
  });

  // Parallel axes: the sum of m r2 over point masses; any textbook on mechanics.
  test('inertia of the straight arm', () => {
    const arm = [segment(), segment({ massKg: 0.1, centreMm: 50 })];
    expect(armInertia(arm, 0)).toBeCloseTo(0.3 * 0.08 ** 2 + 0.1 * 0.2 ** 2, 12);
    expect(armInertia(arm, 1)).toBeCloseTo(0.1 * 0.05 ** 2, 12);
  });
});
