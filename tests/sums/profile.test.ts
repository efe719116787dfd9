import { describe, expect, test } from 'vitest';
import {
  type MotionLimits,
  type MotionState,
  planMove,
  planStop,
  sample,
  type Trajectory,
} from '../../src/sums/profile.ts';
import fc from '../fast-check.ts';

// Shrinking a failure down to the last bit of its numbers can take minutes and tells nothing more.
fc.configureGlobal({ endOnFailure: true });

const rest = (pos: number): MotionState => ({ pos, vel: 0, acc: 0 });
const at = (trajectory: Trajectory, atS: number): MotionState => {
  const state = rest(Number.NaN);
  sample(trajectory, atS, state);
  return state;
};
const number = (min: number, max: number) => fc.double({ min, max, noNaN: true });
/** A number above 0, spread evenly over the decades. */
const scale = (min: number, max: number) =>
  number(Math.log10(min), Math.log10(max)).map((exponent) => 10 ** exponent);

const limitsWithout: fc.Arbitrary<MotionLimits> = fc.record({
  speed: scale(1, 1000),
  accel: scale(10, 10_000),
});
const limitsWith: fc.Arbitrary<MotionLimits> = fc.record({
  speed: scale(1, 1000),
  accel: scale(10, 10_000),
  jerk: scale(100, 1_000_000),
});

/** Limits, a state within them from which the speed limit can still be kept, and a target. */
const anyMove = fc
  .tuple(fc.oneof(limitsWithout, limitsWith), number(-1, 1), number(-1, 1), number(-90, 90))
  .map(([limits, velShare, accShare, to]) => {
    const { speed, accel, jerk } = limits;
    let acc = accShare * accel;
    let vel = velShare * speed;
    if (jerk === undefined) acc = 0;
    else {
      acc = Math.sign(acc) * Math.min(Math.abs(acc), Math.sqrt(jerk * speed));
      const settles = (acc * Math.abs(acc)) / (2 * jerk);
      vel = Math.min(Math.max(vel, -speed - Math.min(settles, 0)), speed - Math.max(settles, 0));
    }
    return { limits, from: { pos: 10, vel, acc }, to };
  });

/**
 * Trapezoid, rest to rest: Biagiotti & Melchiorri, Trajectory Planning for Automatic Machines and
 * Robots (Springer 2008), section 3.2 (from memory).
 */
function trapezoidS(distance: number, { speed, accel }: MotionLimits): number {
  return distance >= speed ** 2 / accel
    ? distance / speed + speed / accel
    : 2 * Math.sqrt(distance / accel);
}

/** Double S, rest to rest: the same book, section 3.4 (from memory). */
function doubleSS(distance: number, { speed, accel, jerk = Number.NaN }: MotionLimits): number {
  const reachesAccel = speed * jerk >= accel ** 2;
  const ramp = reachesAccel ? accel / jerk + speed / accel : 2 * Math.sqrt(speed / jerk);
  const cruise = distance / speed - ramp;
  if (cruise >= 0) return 2 * ramp + cruise;
  if (distance >= (2 * accel ** 3) / jerk ** 2) {
    const half = accel / jerk / 2;
    return 2 * (half + Math.sqrt(half ** 2 + distance / accel));
  }
  return 4 * Math.cbrt(distance / (2 * jerk));
}

describe('rest to rest', () => {
  test('worked by hand: trapezoid, 40 deg at 120 deg/s and 600 deg/s2', () => {
    // 0.2 s and 12 deg up, the same down, 16 deg at 120 deg/s between
    const move = planMove(rest(-5), 35, { speed: 120, accel: 600 });
    expect(move.durationS).toBeCloseTo(0.2 + 16 / 120 + 0.2, 12);
    expect(at(move, 0.1)).toEqual({ pos: -2, vel: 60, acc: 600 });
    expect(at(move, 0.2).pos).toBeCloseTo(7, 12);
    expect(at(move, 0.3)).toEqual({ pos: expect.closeTo(19, 10), vel: 120, acc: 0 });
    expect(at(move, move.durationS)).toEqual({ pos: 35, vel: 0, acc: 0 });
  });

  test('worked by hand: triangle, 6 deg at 600 deg/s2', () => {
    const move = planMove(rest(0), -6, { speed: 120, accel: 600 });
    expect(move.durationS).toBeCloseTo(0.2, 12);
    expect(at(move, 0.1).vel).toBeCloseTo(-60, 10);
  });

  // A distance of a few ulp may count as none, and the time goes with its square or cube root.
  const ROUNDING = 1e-12;

  test('the trapezoid takes the time of its closed form', () => {
    fc.assert(
      fc.property(limitsWithout, number(-90, 90), number(-90, 90), (limits, from, to) => {
        const { durationS } = planMove(rest(from), to, limits);
        const distance = Math.abs(to - from);
        const least = trapezoidS(Math.max(distance - ROUNDING, 0), limits);
        expect(durationS).toBeGreaterThanOrEqual(least - 1e-12);
        expect(durationS).toBeLessThanOrEqual(trapezoidS(distance + ROUNDING, limits) + 1e-12);
      }),
      { numRuns: 2000 },
    );
  });

  test('the double S takes the time of its closed form', () => {
    fc.assert(
      fc.property(limitsWith, number(-90, 90), number(-90, 90), (limits, from, to) => {
        const { durationS } = planMove(rest(from), to, limits);
        const distance = Math.abs(to - from);
        const least = doubleSS(Math.max(distance - ROUNDING, 0), limits);
        expect(durationS).toBeGreaterThanOrEqual(least - 1e-12);
        expect(durationS).toBeLessThanOrEqual(doubleSS(distance + ROUNDING, limits) + 1e-12);
      }),
      { numRuns: 2000 },
    );
  });

  test.each([
    { speed: 120, accel: 600 },
    { speed: 120, accel: 600, jerk: 6000 },
  ])('is symmetric, fast or slow: %j', (limits) => {
    fc.assert(
      fc.property(
        number(-90, 90),
        number(-90, 90),
        number(0, 5),
        number(0, 1),
        (from, to, minS, share) => {
          const move = planMove(rest(from), to, limits, minS);
          const early = at(move, share * move.durationS);
          const late = at(move, (1 - share) * move.durationS);
          expect(Math.abs(early.pos - from - (to - late.pos))).toBeLessThan(1e-9);
          expect(Math.abs(early.vel - late.vel)).toBeLessThan(1e-6);
        },
      ),
      { numRuns: 1000 },
    );
  });
});

describe('from a moving state', () => {
  // Biagiotti & Melchiorri, examples 3.9 and 3.10 (from memory): 0 to 10 from velocity 1, accel 10,
  // jerk 30; Ta, Tv, Td are the times of acceleration, cruise and deceleration.
  test.each([
    { speed: 5, ta: 0.7333, tv: 1.1433, td: 0.8333 },
    { speed: 10, ta: 1.0747, tv: 0, td: 1.1747 },
  ])('the book’s double S at speed $speed', ({ speed, ta, tv, td }) => {
    const move = planMove({ pos: 0, vel: 1, acc: 0 }, 10, { speed, accel: 10, jerk: 30 });
    expect(move.durationS).toBeCloseTo(ta + tv + td, 3);
    expect(at(move, ta).acc).toBeCloseTo(0, 2);
  });

  test('worked by hand: stop from 120 deg/s at 600 deg/s2 takes 0.2 s and 12 deg', () => {
    const stop = planStop({ pos: 3, vel: -120, acc: 0 }, { speed: 120, accel: 600 });
    expect(stop.durationS).toBeCloseTo(0.2, 12);
    expect(stop.endPos).toBeCloseTo(-9, 12);
    expect(at(stop, 0.1)).toEqual({ pos: expect.closeTo(-6, 10), vel: -60, acc: 600 });
  });

  test('worked by hand: stop with jerk from full speed takes V/A + A/J and half of V times that', () => {
    const stop = planStop({ pos: 0, vel: 120, acc: 0 }, { speed: 120, accel: 600, jerk: 6000 });
    expect(stop.durationS).toBeCloseTo(0.3, 12);
    expect(stop.endPos).toBeCloseTo(18, 10);
  });

  test('stays within the hull of the stop and the target', () => {
    fc.assert(
      fc.property(anyMove, fc.constantFrom(0, 1.01, 1.5, 10), ({ limits, from, to }, slower) => {
        const stop = planStop(from, limits);
        let low = Math.min(to, stop.endPos);
        let high = Math.max(to, stop.endPos);
        for (let i = 0; i <= 2000; i++) {
          const { pos } = at(stop, (stop.durationS * i) / 2000);
          low = Math.min(low, pos);
          high = Math.max(high, pos);
        }
        // The stop is seen in 2000 places only; it may go further between two of them.
        const unseen = limits.accel * (stop.durationS / 2000) ** 2;
        const fastest = planMove(from, to, limits);
        const move = planMove(from, to, limits, fastest.durationS * slower);
        for (let i = 0; i <= 500; i++) {
          const { pos } = at(move, (move.durationS * i) / 500);
          expect(pos).toBeGreaterThanOrEqual(low - unseen - 1e-9);
          expect(pos).toBeLessThanOrEqual(high + unseen + 1e-9);
        }
      }),
      { numRuns: 300 },
    );
  });

  test('a lowered speed limit is reached without going faster first', () => {
    fc.assert(
      fc.property(
        limitsWith,
        fc.boolean(),
        number(0.3, 1),
        number(-90, 90),
        (before, jerky, share, to) => {
          const { jerk, ...rigid } = before;
          const from = { pos: 0, vel: before.speed, acc: 0 };
          const limits = { ...(jerky ? before : rigid), speed: before.speed * share };
          const move = planMove(from, to, limits);
          // Same formulas as for a ramp from rest to the difference of the speeds.
          const excess = before.speed - limits.speed;
          let rampS = excess / before.accel;
          if (jerky) {
            rampS =
              excess * jerk! >= before.accel ** 2
                ? excess / before.accel + before.accel / jerk!
                : 2 * Math.sqrt(excess / jerk!);
          }
          for (let i = 0; i <= 200; i++) {
            const atS = (move.durationS * i) / 200;
            const speed = Math.abs(at(move, atS).vel);
            expect(speed).toBeLessThanOrEqual(
              (atS < rampS ? before.speed : limits.speed) * (1 + 1e-9),
            );
          }
        },
      ),
      { numRuns: 500 },
    );
  });

  test('an acceleration beyond its limit is taken back at once', () => {
    const limits = { speed: 120, accel: 500, jerk: 6000 };
    for (const to of [-40, 0, 5, 40]) {
      const move = planMove({ pos: 0, vel: 20, acc: 600 }, to, limits);
      expect(at(move, 0.01).acc).toBeCloseTo(540, 8);
      for (let s = 100 / 6000; s < move.durationS; s += 0.001)
        expect(Math.abs(at(move, s).acc)).toBeLessThanOrEqual(500 + 1e-9);
    }
  });
});

describe('a move with a given duration', () => {
  test('ends exactly then', () => {
    fc.assert(
      fc.property(
        anyMove,
        fc.oneof(number(1, 1.001), number(1, 3), scale(1, 1000)),
        ({ limits, from, to }, slower) => {
          const fastestS = planMove(from, to, limits).durationS;
          const wantedS = fastestS * slower;
          const move = planMove(from, to, limits, wantedS);
          expect(Math.abs(move.durationS - wantedS)).toBeLessThanOrEqual(1e-9);
          // It does arrive: the sums agree with the promised end.
          const last = at(move, move.durationS * (1 - 1e-12));
          expect(Math.abs(last.pos - to)).toBeLessThan(1e-7);
          expect(Math.abs(last.vel)).toBeLessThan(1e-6 + limits.accel * wantedS * 1e-11);
        },
      ),
      { numRuns: 5000 },
    );
  });

  test('cruises slower instead of waiting', () => {
    // 0.2 s of ramp at each end would be at 120 deg/s; worked by hand: v^2/600 - 2 v + 40 = 0
    const move = planMove(rest(0), 40, { speed: 120, accel: 600 }, 2);
    const cruise = 600 - Math.sqrt(600 ** 2 - 600 * 40);
    expect(at(move, 1).vel).toBeCloseTo(cruise, 9);
  });

  test('is the fastest move when that takes longer', () => {
    const limits = { speed: 120, accel: 600, jerk: 6000 };
    const fastest = planMove(rest(0), 40, limits);
    expect(planMove(rest(0), 40, limits, 0.1)).toEqual(fastest);
    expect(planMove(rest(0), 40, limits, -1)).toEqual(fastest);
  });

  test('already there: rests until then', () => {
    const wait = planMove(rest(7), 7, { speed: 120, accel: 600, jerk: 6000 }, 1.5);
    expect(wait.durationS).toBe(1.5);
    expect(at(wait, 0.7)).toEqual(rest(7));
  });
});

describe('the edges', () => {
  test.each([
    { speed: 120, accel: 600 },
    { speed: 120, accel: 600, jerk: 6000 },
  ])('nothing to do: %j', (limits) => {
    for (const trajectory of [planMove(rest(7), 7, limits), planStop(rest(7), limits)]) {
      expect(trajectory.durationS).toBe(0);
      for (const s of [-1, 0, 1]) expect(at(trajectory, s)).toEqual(rest(7));
    }
  });

  test('before the start is the start, after the end is rest at the end', () => {
    const from = { pos: 1, vel: 2, acc: 3 };
    const move = planMove(from, 10, { speed: 120, accel: 600, jerk: 6000 });
    expect(at(move, -5)).toEqual(from);
    expect(at(move, 1e308)).toEqual(rest(10));
    expect(at(move, Number.POSITIVE_INFINITY)).toEqual(rest(10));
  });

  test('any ratio of numbers gives finite sums that arrive', () => {
    const wide = scale(1e-6, 1e6);
    const signed = fc.tuple(fc.constantFrom(-1, 0, 1), scale(1e-9, 1e6)).map(([s, x]) => s * x);
    fc.assert(
      fc.property(
        fc.record({ speed: wide, accel: wide, jerk: fc.option(wide, { nil: undefined }) }),
        fc.record({ pos: signed, vel: signed, acc: signed }),
        signed,
        signed,
        (limits, from, to, minS) => {
          for (const trajectory of [planMove(from, to, limits, minS), planStop(from, limits)]) {
            expect(trajectory.durationS).toBeGreaterThanOrEqual(0);
            expect(trajectory.segments.every(Number.isFinite)).toBe(true);
            let furthest = 1;
            for (let i = 0; i < 16; i++) {
              const state = at(trajectory, (trajectory.durationS * i) / 16);
              expect(Object.values(state).every(Number.isFinite)).toBe(true);
              furthest = Math.max(furthest, Math.abs(state.pos));
            }
            expect(at(trajectory, trajectory.durationS)).toEqual(rest(trajectory.endPos));
            const last = at(trajectory, trajectory.durationS * (1 - 1e-15));
            expect(Math.abs(last.pos - trajectory.endPos) / furthest).toBeLessThan(1e-6);
          }
        },
      ),
      { numRuns: 10_000 },
    );
  });

  test('float noise in the target never costs more than the cube root law allows', () => {
    // The time of a tiny move is 4 cbrt(distance / 2 jerk); noise of a few ulp stays below 0.1 ms.
    const limits = { speed: 120, accel: 600, jerk: 6000 };
    const move = planMove({ pos: 0, vel: 30, acc: -200 }, 40, limits);
    for (let s = 0; s < move.durationS; s += 0.005) {
      const again = planMove(at(move, s), 40, limits);
      expect(Math.abs(again.durationS + s - move.durationS)).toBeLessThan(1e-4);
    }
  });

  const good = { speed: 120, accel: 600, jerk: 6000 };
  test.each([0, -1, Number.NaN, Number.POSITIVE_INFINITY])('refuses a limit of %d', (bad) => {
    for (const name of ['speed', 'accel', 'jerk']) {
      const limits = { ...good, [name]: bad };
      expect(() => planMove(rest(0), 1, limits)).toThrow(RangeError);
      expect(() => planStop(rest(0), limits)).toThrow(`${name} limit ${bad}`);
    }
  });

  test.each([Number.NaN, Number.POSITIVE_INFINITY])('refuses a state or target of %d', (bad) => {
    expect(() => planMove(rest(0), bad, good)).toThrow(RangeError);
    expect(() => planMove(rest(bad), 0, good)).toThrow(RangeError);
    expect(() => planMove(rest(0), 0, good, bad)).toThrow(RangeError);
    expect(() => planStop({ pos: 0, vel: bad, acc: 0 }, good)).toThrow(/velocity/);
    expect(() => planStop({ pos: 0, vel: 0, acc: bad }, good)).toThrow(/acceleration/);
  });

  test('refuses what overflows instead of planning it wrong', () => {
    expect(() => planMove(rest(-1e308), 1e308, good)).toThrow(/too large/);
    expect(() => planMove({ pos: 0, vel: 1e200, acc: 0 }, 0, good)).toThrow(/too large/);
  });
});
