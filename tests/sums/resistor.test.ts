import { describe, expect, test } from 'vitest';
import {
  checkResistor,
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

describe('a measured voltage across the resistor', () => {
  // The usual worked example: 5 V, a red LED of 2 V and 20 mA, so 3 V across 150 ohm (Horowitz & Hill, The
  // Art of Electronics, section on LEDs; from memory).
  const led = { supplyV: 5, forwardV: 2, spreadV: 0.2, currentA: 0.022 };
  test('3 V across 150 ohm is 20 mA, and 2 V are left for the LED', () => {
    const { verdict, currentA, forwardV } = checkResistor(led, 150, 3, 1);
    expect(currentA).toBeCloseTo(0.02, 12);
    expect(forwardV).toBeCloseTo(2, 12);
    expect(verdict).toBe('right');
  });
  test('what a resistor may let through is what chooses it', () => {
    const chosen = ledResistor(led)!;
    const { expectedA } = checkResistor(led, chosen.ohm, 3, 1);
    expect(expectedA[0]).toBeCloseTo(chosen.minA, 12);
    expect(expectedA[1]).toBeCloseTo(chosen.maxA, 12);
  });
  test.each([
    [0, 150, 'none'],
    [0.02, 150, 'none'],
    [1.5, 150, 'low'],
    [2.8, 150, 'right'],
    [3.2, 150, 'right'],
    [4.2, 150, 'high'],
    // 180 ohm may have 3.2 V at most; 3.9 V across it is still no more than the LED may have.
    [3.9, 180, 'unlike'],
  ] as const)('%f V across %f ohm: %s', (volts, ohm, verdict) => {
    expect(checkResistor(led, ohm, volts, 1).verdict).toBe(verdict);
  });
  test('a meter shows the average of pulses', () => {
    expect(checkResistor(led, 150, 1.5, 0.5).currentA).toBeCloseTo(0.02, 12);
  });
});
