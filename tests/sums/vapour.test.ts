import { describe, expect, test } from 'vitest';
import { runTimeS, showTimeS, waterMl } from '../../src/sums/vapour.ts';

describe('vapour', () => {
  // A drill of every nursing textbook: 1000 ml at 125 ml/h run for 8 h (from memory).
  test('time is volume by rate', () => {
    expect(runTimeS({ tankMl: 1000, rateMlPerH: 125 })).toBe(8 * 3600);
    expect(waterMl({ tankMl: 1000, rateMlPerH: 125 }, 8 * 3600)).toBe(1000);
  });

  test('the tank lasts as long as a count of single seconds says', () => {
    const vapour = { tankMl: 7, rateMlPerH: 240 };
    const duty = { maxOnS: 20, restS: 40 };
    let left = vapour.tankMl;
    let seconds = 0;
    for (; left > 1e-9; seconds++) if (seconds % 60 < duty.maxOnS) left -= vapour.rateMlPerH / 3600;
    expect(showTimeS(vapour, duty)).toBe(seconds);
  });

  // IEC 60034-1, duty type S3 at 25 %: 2.5 min on in each cycle of 10 min (from memory).
  test('over a long show at 25 % duty it lasts four times as long', () => {
    const vapour = { tankMl: 500, rateMlPerH: 300 };
    const duty = { maxOnS: 150, restS: 450 };
    expect(Math.abs(showTimeS(vapour, duty) - 4 * runTimeS(vapour))).toBeLessThanOrEqual(
      duty.restS,
    );
  });
});
