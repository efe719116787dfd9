import { expect, test } from 'vitest';
import {
  chooseDivider,
  dividedV,
  dividerOhm,
  loadingError,
  undividedV,
} from '../../src/sums/divider.ts';
import fc from '../fast-check.ts';

const ohm = fc.double({ min: 100, max: 1e6, noNaN: true });

test('12.6 V over 100 and 33 kohm: by hand, 12.6 × 33 / 133 V behind 3300 / 133 kohm', () => {
  expect(dividedV(12.6, 100e3, 33e3)).toBeCloseTo(3.12632, 5);
  expect(undividedV(3.12632, 100e3, 33e3)).toBeCloseTo(12.6, 3);
  expect(dividerOhm(100e3, 33e3)).toBeCloseTo(24_812.03, 2);
  // 24.8 kohm before 6 Mohm: 0.41 %.
  expect(loadingError(24_812.03, 6e6)).toBeCloseTo(0.004118, 6);
});

test('a loaded divider is its source of Thévenin behind its resistance', () => {
  fc.assert(
    fc.property(ohm, ohm, ohm, (upper, lower, input) => {
      // Directly: the lower resistor and the input are in parallel.
      const both = 1 / (1 / lower + 1 / input);
      const directly = (10 * both) / (upper + both);
      const loss = loadingError(dividerOhm(upper, lower), input);
      expect(dividedV(10, upper, lower) * (1 - loss)).toBeCloseTo(directly, 9);
      expect(undividedV(dividedV(10, upper, lower), upper, lower)).toBeCloseTo(10, 9);
    }),
  );
});

// IEC 60063: the values of E24, from memory.
const E24 = [
  10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91,
];

test('a divider of preferred values: never too much at the input, and hardly less than possible', () => {
  fc.assert(
    fc.property(
      fc.double({ min: 3.4, max: 40, noNaN: true }),
      fc.double({ min: 1, max: 3.3, noNaN: true }),
      (sourceV, inputV) => {
        const [upper, lower] = chooseDivider(sourceV, inputV)!;
        for (const ohm of [upper, lower])
          expect(E24.some((value) => Math.abs(Math.log10(ohm / value) % 1) < 1e-6)).toBe(true);
        const worstV = dividedV(sourceV, upper * 0.95, lower * 1.05);
        expect(worstV).toBeLessThanOrEqual(inputV * (1 + 1e-9));
        // The steps of E24 are a tenth, and there are many pairs.
        expect(worstV).toBeGreaterThan(inputV * 0.93);
        expect(dividerOhm(upper, lower)).toBeLessThanOrEqual(10_000);
      },
    ),
  );
});
