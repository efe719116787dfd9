import { describe, expect, test } from 'vitest';
import { dutyShare, runTimeS, showTimeS, waterMl } from '../../src/sums/vapour.ts';

describe('vapour', () => {
  // A drill of every nursing textbook: 1000 ml at 125 ml/h run for 8 h (from memory).
  test('time is volume by rate', () => {
    expect(runTimeS({ tankMl: 1000, rateMlPerH: 125 })).toBe(8 * 3600);
    expect(waterMl({ tankMl: 1000, rateMlPerH: 125 }, 8 * 3600)).toBe(1000);
  });

  // IEC 60034-1, duty type S3: a cycle of 10 min at 25 % is 2.5 min on and 7.5 min of rest (from memory).
  test('duty S3 25 %', () => {
    expect(dutyShare({ maxOnS: 150, restS: 450 })).toBe(0.25);
  });

  test('the tank lasts as long as a count of single seconds says', () => {
    const vapour = { tankMl: 7, rateMlPerH: 240 };
    const duty = { maxOnS: 20, restS: 40 };
    let left = vapour.tankMl;
    let seconds = 0;
    for (; left > 1e-9; seconds++) if (seconds % 60 < duty.maxOnS) left -= vapour.rateMlPerH / 3600;
    expect(showTimeS(vapour, duty)).toBe(seconds);
  });

  test('over a long show it lasts longer by the share of rest', () => {
    const vapour = { tankMl: 500, rateMlPerH: 300 };
    const duty = { maxOnS: 20, restS: 40 };
    expect(showTimeS(vapour, duty)).toBeCloseTo(runTimeS(vapour) / dutyShare(duty), -2);
  });
});
