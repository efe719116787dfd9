import { describe, expect, test } from 'vitest';
import { PulseBounds } from '../../src/sums/calibration.ts';
import { closingRange, isRight, toggles } from '../../src/sums/linkage.ts';
import { ServoMapping } from '../../src/sums/servo-mapping.ts';
import fc from '../fast-check.ts';
import { drawnFlapDeg, turn } from './circles.ts';

const length = (min: number, max: number) =>
  fc.integer({ min: min * 10, max: max * 10 }).map((n) => n / 10);

/** Linkages as makers build them, with a calibration that keeps 1 deg away from toggle positions. */
const built = fc
  .record({
    groundMm: length(30, 120),
    hornMm: length(8, 40),
    couplerMm: length(20, 140),
    flapMm: length(10, 60),
    hornZeroDeg: fc.oneof(fc.integer({ min: 30, max: 150 }), fc.integer({ min: -150, max: -30 })),
    flapZeroDeg: fc.option(fc.integer({ min: -180, max: 180 }), { nil: undefined }),
    crossed: fc.boolean(),
    lowDeg: fc.integer({ min: -45, max: -15 }),
    bendDeg: fc.integer({ min: -8, max: 8 }),
    highDeg: fc.integer({ min: 15, max: 45 }),
    falls: fc.boolean(),
  })
  .filter((one) => {
    const range = closingRange(one);
    if (!range) return false;
    const from = one.hornZeroDeg + one.lowDeg;
    const to = one.hornZeroDeg + one.highDeg;
    // The range counts on either side of the line.
    const [near, far] = one.hornZeroDeg < 0 ? [-to, -from] : [from, to];
    return (
      Math.min(near, 360 - far) > range[0] + 1 &&
      far < range[1] - 1 &&
      toggles(one, isRight(one)).every(({ hornDeg }) =>
        [hornDeg - 360, hornDeg, hornDeg + 360].every((deg) => deg < from - 1 || deg > to + 1),
      )
    );
  })
  .map(({ lowDeg, bendDeg, highDeg, falls, ...linkage }) => {
    const horns = falls ? [highDeg, bendDeg, lowDeg] : [lowDeg, bendDeg, highDeg];
    const calibration = [1000, 1500, 2000].map((us, i): [number, number] => [us, horns[i]!]);
    return { calibration, linkage };
  });

describe('a mapping through calibration and linkage', () => {
  test('without a linkage it is the calibration', () => {
    const mapping = new ServoMapping({
      calibration: [
        [1000, 45],
        [2000, -45],
      ],
      envelopeUs: [900, 2000],
    });
    expect(mapping.calibrationDeg).toEqual([-45, 45]);
    expect(mapping.envelopeDeg).toEqual([-45, 54]);
    expect(mapping.toPulseUs(9)).toBe(1400);
    expect(mapping.toDeg(1400)).toBe(9);
  });

  test('the flap is where a drawing with circles puts it, to 0.0001 deg', () => {
    fc.assert(
      fc.property(built, fc.double({ min: 1000, max: 2000, noNaN: true }), (spec, us) => {
        const mapping = new ServoMapping(spec);
        const { hornZeroDeg, flapZeroDeg } = spec.linkage;
        const right = isRight(spec.linkage);
        const hornDeg = hornZeroDeg + mapping.calibration.toDeg(us);
        const zeroDeg = flapZeroDeg ?? drawnFlapDeg(spec.linkage, hornZeroDeg, right);
        const drawn = drawnFlapDeg(spec.linkage, hornDeg, right) - zeroDeg;
        expect(Math.abs(turn(mapping.toDeg(us) - drawn))).toBeLessThan(1e-4);
      }),
      { numRuns: 2000 },
    );
  });

  test('there and back to 0.001 us, whole multiples of the step to half a step', () => {
    fc.assert(
      fc.property(built, fc.double({ min: 1000, max: 2000, noNaN: true }), (spec, us) => {
        const mapping = new ServoMapping(spec);
        const deg = mapping.toDeg(us);
        expect(Math.abs(mapping.toPulseUs(deg) - us)).toBeLessThan(1e-3);
        const bounds = new PulseBounds(mapping, mapping.calibrationDeg, [1000, 2000], 5);
        expect(Math.abs(bounds.pulseUs(deg) - us)).toBeLessThan(2.501);
      }),
      { numRuns: 2000 },
    );
  });

  test('strictly monotonic over the envelope', () => {
    fc.assert(
      fc.property(built, (spec) => {
        const mapping = new ServoMapping(spec);
        const way = Math.sign(mapping.toDeg(1505) - mapping.toDeg(1495));
        for (let us = 1000; us < 2000; us += 5)
          expect((mapping.toDeg(us + 5) - mapping.toDeg(us)) * way).toBeGreaterThan(0);
        const [low, high] = mapping.calibrationDeg;
        const ends = [mapping.toDeg(1000), mapping.toDeg(2000)];
        expect([low, high]).toEqual(way > 0 ? ends : ends.reverse());
      }),
      { numRuns: 300 },
    );
  });
});
