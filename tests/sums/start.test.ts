import { describe, expect, test } from 'vitest';
import { RailAhead, START_S, staggeredPeakA } from '../../src/sums/start.ts';
import fc from '../fast-check.ts';

const starter = fc
  .tuple(fc.integer({ min: 0, max: 5 }), fc.integer({ min: 0, max: 20 }), fc.nat(40))
  .map(([idle, more, start]) => ({
    idleA: idle / 10,
    busyA: (idle + more) / 10,
    stallA: (idle + more + start) / 10,
  }));

/** Every order, by trying them all. */
function orders<T>(all: readonly T[]): T[][] {
  if (all.length <= 1) return [[...all]];
  return all.flatMap((one, i) => orders(all.toSpliced(i, 1)).map((rest) => [one, ...rest]));
}

describe('starting one after another', () => {
  test('no order peaks lower', () => {
    fc.assert(
      fc.property(fc.array(starter, { minLength: 1, maxLength: 5 }), (all) => {
        const idleA = all.reduce((sum, one) => sum + one.idleA, 0);
        const peaks = orders(all).map((order) => {
          let amps = idleA;
          let peakA = idleA;
          for (const one of order) {
            peakA = Math.max(peakA, amps + one.stallA - one.idleA);
            amps += one.busyA - one.idleA;
          }
          return Math.max(peakA, amps);
        });
        expect(staggeredPeakA(all, idleA)).toBeCloseTo(Math.min(...peaks), 9);
      }),
    );
  });

  test('never over the limit at any millisecond, and never later than one by one', () => {
    fc.assert(
      fc.property(
        fc.array(starter, { minLength: 1, maxLength: 12 }),
        fc.integer({ min: 1, max: 200 }),
        (all, tenths) => {
          const limitA = tenths / 10;
          const idleA = all.reduce((sum, one) => sum + one.idleA, 0);
          const startS = new RailAhead(idleA).stagger(all, limitA);
          if (startS === undefined) {
            expect(staggeredPeakA(all, idleA)).toBeGreaterThan(limitA);
            return;
          }
          for (let ms = 0; ms < 1000; ms++) {
            let amps = 0;
            for (const [i, { idleA: rest, busyA, stallA }] of all.entries()) {
              const since = ms - Math.round(startS[i]! * 1000);
              amps += since < 0 ? rest : since < START_S * 1000 ? stallA : busyA;
            }
            expect(amps).toBeLessThanOrEqual(limitA + 1e-9);
          }
          expect(Math.max(...startS)).toBeLessThanOrEqual((all.length - 1) * START_S + 1e-9);
        },
      ),
    );
  });
});
