import { describe, expect, test } from 'vitest';
import { type Curve, keptPoints, straight } from '../../src/sums/thin.ts';
import fc from '../fast-check.ts';

/** The value of a straight line between kept points. */
function at({ tS, values }: Curve, kept: readonly number[], i: number, d: number): number {
  const after = kept.findIndex((one) => one >= i);
  const [to, from] = [kept[after]!, kept[Math.max(0, after - 1)]!];
  if (to === i) return values[d]![i]!;
  const share = (tS[i]! - tS[from]!) / (tS[to]! - tS[from]!);
  return values[d]![from]! + share * (values[d]![to]! - values[d]![from]!);
}

describe('keptPoints', () => {
  test('leaves out only what straight lines show within the tolerance', () => {
    const points = fc.array(
      fc.tuple(
        fc.integer({ min: 1, max: 40 }),
        fc.double({ min: -90, max: 90, noNaN: true }),
        fc.double({ min: -1, max: 1, noNaN: true }),
      ),
      { minLength: 1, maxLength: 60 },
    );
    fc.assert(
      fc.property(points, fc.double({ min: 0.01, max: 20, noNaN: true }), (steps, tolerance) => {
        let t = 0;
        const curve: Curve = { tS: [], values: [[], []] };
        for (const [gap, a, b] of steps) {
          t += gap * 0.005;
          curve.tS.push(t);
          curve.values[0]!.push(a);
          curve.values[1]!.push(b);
        }
        const kept = keptPoints(curve, tolerance);
        expect(kept[0]).toBe(0);
        expect(kept.at(-1)).toBe(steps.length - 1);
        for (let i = 0; i < steps.length; i++)
          for (const d of [0, 1])
            expect(Math.abs(at(curve, kept, i, d) - curve.values[d]![i]!)).toBeLessThanOrEqual(
              tolerance * (1 + 1e-9) + 1e-9,
            );
      }),
    );
  });

  test('a straight line has two points; a parabola as many as theory asks for, or a few more', () => {
    const tS = Array.from({ length: 1001 }, (_, i) => i / 1000);
    expect(keptPoints({ tS, values: [tS.map((t) => 3 * t)] }, 0.001)).toEqual([0, 1000]);
    // A chord of width w misses x^2 by at most w^2 / 4; a line within e of it may be sqrt(8 e) wide where it
    // is free, and from a point of the curve to another sqrt(4 e).
    const tolerance = 0.0001;
    const parabola = keptPoints({ tS, values: [tS.map((t) => t * t)] }, tolerance).length - 1;
    expect(parabola).toBeGreaterThanOrEqual(1 / Math.sqrt(8 * tolerance));
    expect(parabola).toBeLessThanOrEqual(1.2 / Math.sqrt(4 * tolerance));
  });
});

test('a value that stays gets a second point, a tick before it changes', () => {
  expect(straight([0, 1, 1.005, 3], [[1, 2, 3, 4]], 0.005, 4)).toEqual({
    tS: [0, 0.995, 1, 1.005, 2.995, 3, 4],
    values: [[1, 1, 2, 3, 3, 4, 4]],
  });
});
