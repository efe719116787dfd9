import { describe, expect, test } from 'vitest';
import { FUSE_RATINGS_A, fuseFor, fuseVerdict, isFuseRating } from '../../src/sums/fuse.ts';

test('the ratings of IEC 60127 are R10 of ISO 3: tenth powers of ten, rounded', () => {
  const ratings = FUSE_RATINGS_A['IEC 60127'];
  for (const [i, rating] of ratings.entries()) {
    const exact = 10 ** ((i - 15) / 10);
    // ISO 3, 4.3: preferred numbers are within -1.01 and +1.26 % of the exact ones (from memory).
    expect(rating / exact).toBeGreaterThan(1 - 0.0101);
    expect(rating / exact).toBeLessThan(1 + 0.0127);
  }
  expect(ratings[0]).toBeCloseTo(0.0315, 6);
  expect(ratings.at(-1)).toBe(10);
});

test('the ratings of ISO 8820-3', () => {
  // The printed colours of the common blade size, from memory: violet 3, tan 5, brown 7.5, red 10, blue
  // 15, yellow 20, clear 25, green 30.
  for (const rating of [3, 5, 7.5, 10, 15, 20, 25, 30])
    expect(isFuseRating(rating, 'ISO 8820')).toBe(true);
  expect(isFuseRating(6.3, 'ISO 8820')).toBe(false);
  expect(isFuseRating(6.3, 'IEC 60127')).toBe(true);
});

describe('between load and wire', () => {
  test('with a margin for the load where the wire allows it', () => {
    expect(fuseFor({ loadA: 3.2, wireA: 10 }, 'ISO 8820')).toBe(4);
    expect(fuseFor({ loadA: 3.3, wireA: 10 }, 'ISO 8820')).toBe(5);
    expect(fuseFor({ loadA: 3.3, wireA: 4.4 }, 'ISO 8820')).toBe(4);
    expect(fuseFor({ loadA: 2.4, wireA: 10 }, 'IEC 60127')).toBe(3.15);
  });

  test('or none', () => {
    expect(fuseFor({ loadA: 5.5, wireA: 7 }, 'ISO 8820')).toBeUndefined();
    expect(fuseFor({ loadA: 5.5, wireA: 7 }, 'IEC 60127')).toBe(6.3);
    expect(fuseFor({ loadA: 50, wireA: 70 }, 'ISO 8820')).toBeUndefined();
  });

  test('verdicts, the bounds included', () => {
    const window = { loadA: 3, wireA: 5 };
    expect([2, 3, 5, 7.5].map((rating) => fuseVerdict(rating, window))).toEqual([
      'blows in normal use',
      'fits',
      'fits',
      'does not protect the wire',
    ]);
    expect(fuseVerdict(3, { loadA: 3 + 4e-16, wireA: 5 })).toBe('fits');
  });
});
