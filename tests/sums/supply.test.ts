import { describe, expect, test } from 'vitest';
import { inrushA, runTimeH, totals, wantedSupplyA } from '../../src/sums/supply.ts';

const small = { idleA: 0.01, movingA: 0.2, stallA: 0.7 };
const large = { idleA: 0.05, movingA: 0.6, stallA: 1.8 };

test('totals', () => {
  const sum = totals([small, small, large]);
  expect(sum.idleA).toBeCloseTo(0.07, 12);
  expect(sum.movingA).toBeCloseTo(1, 12);
  expect(sum.stallA).toBeCloseTo(3.2, 12);
  expect(totals([])).toEqual({ idleA: 0, movingA: 0, stallA: 0 });
});

describe('inrush', () => {
  const loads = [small, large, small];
  const slow = { everyS: 1, startS: 0.05, settleS: 0.15 };

  test('all at once is all stall currents', () => {
    expect(inrushA(loads, { ...slow, everyS: 0 })).toBeCloseTo(3.2, 12);
  });

  test('far apart it is the largest start on top of those that idle', () => {
    expect(inrushA(loads, slow)).toBeCloseTo(0.01 + 1.8, 12);
    expect(inrushA([large, small, large], slow)).toBeCloseTo(0.05 + 0.01 + 1.8, 12);
  });

  test('as one start ends the next begins: the last ones still settle', () => {
    // At 0.05 s: the first settles (0.2), the second starts (1.8). At 0.1 s the third starts (0.7)
    // while the first two settle (0.8).
    expect(inrushA(loads, { ...slow, everyS: 0.05 })).toBeCloseTo(2, 12);
  });
});

test('a supply with a quarter more', () => {
  expect(wantedSupplyA(4)).toBe(5);
  expect(wantedSupplyA(4, 0.5)).toBe(6);
});

describe('battery', () => {
  // The worked example that encyclopaedias give for Peukert's law: 100 Ah at 20 h, exponent 1.2, at
  // 10 A: 8.7 h (from memory).
  test("by Peukert's law", () => {
    const battery = { capacityAh: 100, ratedH: 20, peukert: 1.2 };
    expect(runTimeH(battery, 10)).toBeCloseTo(8.7, 1);
    expect(runTimeH(battery, 5)).toBeCloseTo(20, 12);
  });

  test('with exponent 1, and below the rated current, ampere-hours alone', () => {
    expect(runTimeH({ capacityAh: 10, ratedH: 20, peukert: 1 }, 2)).toBeCloseTo(5, 12);
    expect(runTimeH({ capacityAh: 10, ratedH: 20, peukert: 1.3 }, 0.1)).toBeCloseTo(100, 9);
    expect(runTimeH({ capacityAh: 10, ratedH: 20, peukert: 1.3 }, 0)).toBe(
      Number.POSITIVE_INFINITY,
    );
  });
});
