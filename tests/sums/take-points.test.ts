import { describe, expect, it } from 'vitest';
import { TakeCurve } from '../../src/sums/take-curve.ts';
import {
  mirror,
  resample,
  savitzkyGolay,
  scale,
  shift,
  smooth,
  type TakePoints,
  trim,
} from '../../src/sums/take-points.ts';
import fc from '../fast-check.ts';

const curveOf = ({ timesS, deg }: TakePoints) => new TakeCurve(timesS, deg);

/** Anything a hand may do, and what no hand could. */
const anyPoints = fc
  .array(fc.tuple(fc.integer({ min: 1, max: 500 }), fc.integer({ min: -4500, max: 4500 })), {
    minLength: 1,
    maxLength: 60,
  })
  .map((steps): TakePoints => {
    let ms = 0;
    const timesS = steps.map(([step], i) => {
      if (i > 0) ms += step;
      return ms / 1000;
    });
    return { timesS, deg: steps.map(([, deg]) => deg / 100) };
  });

describe('the smoothing filter', () => {
  it.each([
    [2, 35, [-3, 12, 17, 12, -3]],
    [3, 21, [-2, 3, 6, 7, 6, 3, -2]],
    [4, 231, [-21, 14, 39, 54, 59, 54, 39, 14, -21]],
    [5, 429, [-36, 9, 44, 69, 84, 89, 84, 69, 44, 9, -36]],
    [12, 5175, [-253, -138, -33, 62, 147, 222, 287, 342, 387, 422, 447, 462, 467]],
  ])(
    'has the weights of table I of Savitzky and Golay (1964; from memory), m = %i',
    (m, sum, table) => {
      const weights = savitzkyGolay(m);
      for (const [i, integer] of table.entries()) expect(weights[i]! * sum).toBeCloseTo(integer, 9);
      expect(weights.reduce((all, one) => all + one)).toBeCloseTo(1, 12);
    },
  );

  it('leaves a cubic as it is, keeps the ends, and takes noise away', () => {
    const timesS = Array.from({ length: 101 }, (_, i) => i / 50);
    const cubic = (t: number) => 3 * t ** 3 - 8 * t ** 2 + 2 * t + 5;
    const deg = timesS.map(cubic);
    const same = smooth({ timesS, deg }, 0.2, 50);
    for (const [i, one] of same.deg.entries()) expect(one).toBeCloseTo(deg[i]!, 9);
    const noisy = { timesS, deg: deg.map((one, i) => one + (i % 2 === 0 ? 1 : -1)) };
    const soft = smooth(noisy, 0.4, 50);
    for (const [i, one] of soft.deg.entries())
      if (i >= 10 && i <= 90) expect(Math.abs(one - deg[i]!)).toBeLessThan(0.2);
    expect(soft.deg[0]).toBe(noisy.deg[0]);
    expect(soft.deg.at(-1)).toBe(noisy.deg.at(-1));
  });

  it('never leaves the angles that were performed', () => {
    fc.assert(
      fc.property(anyPoints, fc.double({ min: 0, max: 2, noNaN: true }), (points, windowS) => {
        const [low, high] = curveOf(points).rangeDeg;
        const { deg, timesS } = smooth(points, windowS, 50);
        expect(timesS.at(-1)).toBeCloseTo(points.timesS.at(-1)!, 9);
        for (const one of deg) {
          expect(one).toBeGreaterThanOrEqual(low);
          expect(one).toBeLessThanOrEqual(high);
        }
      }),
    );
  });
});

describe('a part of a movement, or another one made of it', () => {
  it('begins at 0 with the angle that it had there', () => {
    fc.assert(
      fc.property(anyPoints, fc.double({ min: 0, max: 1, noNaN: true }), (points, share) => {
        const { durationS } = curveOf(points);
        const [fromS, toS] = [0.5 * share * durationS, (1 - 0.4 * share) * durationS];
        const part = trim(points, fromS, toS);
        expect(part.timesS[0]).toBe(0);
        expect(part.timesS.at(-1)).toBeCloseTo(toS - fromS, 5);
        expect(part.deg[0]).toBeCloseTo(curveOf(points).at(fromS), 9);
        expect(part.deg.at(-1)).toBeCloseTo(curveOf(points).at(toS), 3);
        for (const [i, atS] of part.timesS.entries())
          if (i > 0) expect(atS).toBeGreaterThan(part.timesS[i - 1]!);
      }),
    );
  });

  it('is shifted, scaled and mirrored, and back', () => {
    fc.assert(
      fc.property(anyPoints, fc.integer({ min: -30, max: 30 }), (points, deg) => {
        const back = shift(shift(points, 1.5, deg), -1.5, -deg);
        const twice = mirror(mirror(points, deg), deg);
        const same = scale(scale(points, 4, deg), 0.25, deg);
        for (const [i, one] of points.deg.entries()) {
          expect(back.deg[i]).toBeCloseTo(one, 9);
          expect(twice.deg[i]).toBeCloseTo(one, 9);
          expect(same.deg[i]).toBeCloseTo(one, 9);
          expect(mirror(points, deg).deg[i]! - deg).toBeCloseTo(deg - one, 9);
        }
      }),
    );
  });

  it('passes through the same angles at even times', () => {
    const points = { timesS: [0, 0.3, 1], deg: [0, 10, -5] };
    const even = resample(points, 10);
    expect(even.timesS).toHaveLength(11);
    for (const [i, atS] of even.timesS.entries())
      expect(even.deg[i]).toBeCloseTo(curveOf(points).at(atS), 9);
    expect(resample({ timesS: [0], deg: [7] }, 50)).toEqual({ timesS: [0], deg: [7] });
  });
});
