import { describe, expect, test } from 'vitest';
import {
  ledMaxA,
  ledResistor,
  preferredAbove,
  preferredBelow,
  type Series,
} from '../../src/sums/resistor.ts';

/** One decade, read out of the function. */
function decade(series: Series): number[] {
  const found = [];
  for (let value = 1; value < 10; value = preferredAbove(value * 1.001, series)) found.push(value);
  return found;
}

describe('IEC 60063', () => {
  // The powers of ten, rounded to two digits, but for the eight values that the standard keeps from
  // before: 2.7 for 2.6, 3.0 for 2.9, ... and 8.2 for 8.3 (IEC 60063, annex; from memory).
  const KEPT: Record<string, number> = {
    '2.6': 2.7,
    '2.9': 3,
    '3.2': 3.3,
    '3.5': 3.6,
    '3.8': 3.9,
    '4.2': 4.3,
    '4.6': 4.7,
    '8.3': 8.2,
  };
  test.each([
    ['E12', 12],
    ['E24', 24],
  ] as const)('%s', (series, steps) => {
    const exact = Array.from({ length: steps }, (_, i) => {
      const rounded = Math.round(10 * 10 ** (i / steps)) / 10;
      return KEPT[String(rounded)] ?? rounded;
    });
    expect(decade(series)).toEqual(exact);
  });

  test('in any decade, up and down', () => {
    expect(preferredAbove(350)).toBe(360);
    expect(preferredAbove(350, 'E12')).toBe(390);
    expect(preferredAbove(9.2)).toBe(10);
    expect(preferredAbove(0.33)).toBe(0.33);
    expect(preferredBelow(1213)).toBe(1200);
    expect(preferredBelow(99, 'E12')).toBe(82);
    expect(preferredBelow(1000)).toBe(1000);
  });
});

describe('the series resistor of an LED', () => {
  // Textbook example: a red LED of 2 V at 20 mA on 5 V takes 150 ohm; on 9 V 350 ohm, so 360.
  test('without spread', () => {
    const red = { supplyV: 5, forwardV: 2, spreadV: 0, currentA: 0.02 };
    expect(ledResistor(red)).toMatchObject({ ohm: 150, ratingW: 0.125 });
    expect(ledResistor(red)!.heatW).toBeCloseTo(0.06, 12);
    const onNine = ledResistor({ ...red, supplyV: 9 })!;
    expect(onNine.exactOhm).toBeCloseTo(350, 9);
    expect(onNine.ohm).toBe(360);
    expect(onNine.ratingW).toBe(0.5); // 0.136 W
  });

  test('the spread of forward voltages', () => {
    const blue = { supplyV: 5, forwardV: 3.2, spreadV: 0.3, currentA: 0.02 };
    const found = ledResistor(blue)!;
    expect(found.exactOhm).toBeCloseTo(2.1 / 0.02, 9);
    expect(found.ohm).toBe(110);
    expect(found.maxA).toBeCloseTo(2.1 / 110, 12);
    expect(found.minA).toBeCloseTo(1.5 / 110, 12);
    expect(ledMaxA(blue, 56)).toBeCloseTo(0.0375, 12);
  });

  test('none where the supply is too low', () => {
    const white = { supplyV: 3.3, forwardV: 3.2, spreadV: 0.2, currentA: 0.02 };
    expect(ledResistor(white)).toBeUndefined();
  });
});
