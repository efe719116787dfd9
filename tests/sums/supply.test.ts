import { describe, expect, test } from 'vitest';
import { inrushA, runTimeH, totals, wantedSupplyA } from '../../src/sums/supply.ts';
import fc from '../fast-check.ts';

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

describe('inrush against a reference that looks at every millisecond', () => {
  /** In whole milliseconds, so that nothing is rounded: what each load draws in each of them, added up. */
  function reference(
    loads: readonly { idleA: number; movingA: number; stallA: number }[],
    [everyMs, startMs, settleMs]: readonly [number, number, number],
  ): number {
    const endMs = loads.length * everyMs + startMs + settleMs + 1;
    let most = 0;
    for (let ms = 0; ms < endMs; ms++) {
      let amps = 0;
      for (const [i, { idleA, movingA, stallA }] of loads.entries()) {
        const sinceMs = ms - i * everyMs;
        if (sinceMs < 0) continue;
        if (sinceMs < startMs) amps += stallA;
        else if (sinceMs < startMs + settleMs) amps += movingA;
        else amps += idleA;
      }
      most = Math.max(most, amps);
    }
    return most;
  }

  const load = fc
    .tuple(...Array.from({ length: 3 }, () => fc.double({ min: 0, max: 3, noNaN: true })))
    .map((all) => {
      const [idleA, movingA, stallA] = all.sort((a, b) => a - b) as [number, number, number];
      return { idleA, movingA, stallA };
    });

  test('of any number of servos, with ties that are sums of fractions', () => {
    fc.assert(
      fc.property(
        fc.array(load, { maxLength: 24 }),
        // Multiples of 5 ms tie often: 3 x 0.05 is not 0.15.
        fc.tuple(fc.nat(20), fc.integer({ min: 1, max: 20 }), fc.integer({ min: 1, max: 40 })),
        (loads, steps) => {
          const [everyMs, startMs, settleMs] = steps.map((one) => 5 * one) as [
            number,
            number,
            number,
          ];
          const stagger = {
            everyS: everyMs / 1000,
            startS: startMs / 1000,
            settleS: settleMs / 1000,
          };
          expect(inrushA(loads, stagger)).toBeCloseTo(
            reference(loads, [everyMs, startMs, settleMs]),
            9,
          );
        },
      ),
      { numRuns: 500 },
    );
  });

  test('three starts in a row at 0.05 s never overlap', () => {
    const one = { idleA: 0, movingA: 0, stallA: 1 };
    for (const count of [1, 3, 4, 7, 12, 40])
      expect(inrushA(Array(count).fill(one), { everyS: 0.05, startS: 0.05, settleS: 0.15 })).toBe(
        1,
      );
  });
});

test('a supply with a quarter more', () => {
  expect(wantedSupplyA(4)).toBe(5);
  expect(wantedSupplyA(4, 0, 0.5)).toBe(6);
  // Never below what flows for a moment.
  expect(wantedSupplyA(0.4, 2.6)).toBe(2.6);
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
