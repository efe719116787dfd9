import { describe, expect, test } from 'vitest';
import { seeded } from '../../src/sums/random.ts';
import { type Stand, sensePointsOf } from '../../src/sums/sense-points.ts';

/** Twenty readings at each angle. @param of the voltage at an angle @param noise half its width (V) */
function stands(degs: readonly number[], of: (deg: number) => number, noise = 0.002): Stand[] {
  const random = seeded(7);
  return degs.map((deg) => ({
    deg,
    volts: Array.from({ length: 20 }, () => of(deg) + noise * (2 * random() - 1)),
  }));
}

const DEGS = [-40, -20, 0, 20, 40];
const problemOf = (from: readonly Stand[]) => {
  const found = sensePointsOf(from);
  return 'problem' in found ? found.problem : '';
};

describe('the points of a position sense', () => {
  test.each([1, -1])('are the mean voltages, rising whichever way it turns (%d)', (way) => {
    const found = sensePointsOf(stands(DEGS, (deg) => 1.5 + way * 0.02 * deg));
    if ('problem' in found) throw new Error(found.problem);
    expect(found.calibration.map(([, deg]) => deg)).toEqual(way > 0 ? DEGS : [...DEGS].reverse());
    for (const [volts, deg] of found.calibration)
      expect(Math.abs(volts - (1.5 + way * 0.02 * deg))).toBeLessThan(0.001);
    expect(found.degPerV).toBeCloseTo(way * 50, 0);
    for (const off of found.residualsDeg) expect(Math.abs(off)).toBeLessThan(0.1);
    expect(found.noiseDeg).toBeLessThan(0.1);
  });

  test('one that bends keeps its bend, and says how far it is from a straight line', () => {
    const found = sensePointsOf(stands(DEGS, (deg) => 1.5 + 0.02 * deg + 0.0001 * deg * deg));
    if ('problem' in found) throw new Error(found.problem);
    expect(found.residualsDeg.reduce((sum, off) => sum + off, 0)).toBeCloseTo(0, 6);
    expect(Math.max(...found.residualsDeg.map(Math.abs))).toBeGreaterThan(2);
  });

  test.each([
    ['noise', stands(DEGS, (deg) => 1.5 + 0.02 * deg, 0.3), /scatter by .* capacitor/],
    ['a floating or unmoved sensor', stands(DEGS, () => 1.5), /changes by only .* connected/],
    ['a span that is too small', stands([0, 2, 4], (deg) => 1 + 0.1 * deg), /only 4 deg apart/],
    [
      'one that turns back',
      stands(DEGS, (deg) => 1.5 + 0.02 * Math.abs(deg - 10)),
      /does not rise or fall/,
    ],
    [
      'one that passes its end',
      stands(DEGS, (deg) => (deg > 0 ? 0.2 : 2 + 0.02 * deg)),
      /does not rise or fall/,
    ],
    ['a single angle', stands([0], () => 1), /fewer than 2/],
    [
      'few readings',
      [
        { deg: 0, volts: [1, 1] },
        { deg: 40, volts: [2, 2] },
      ],
      /2 readings/,
    ],
    [
      'no numbers',
      [{ deg: 0, volts: [1, 1, 1, 1, Number.NaN] }, ...stands([40], () => 2)],
      /not a number/,
    ],
  ] as [string, Stand[], RegExp][])('%s is refused, with the remedy', (_what, from, words) => {
    expect(problemOf(from)).toMatch(words);
  });
});
