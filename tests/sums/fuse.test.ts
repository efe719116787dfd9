import { describe, expect, test } from 'vitest';
import {
  FUSE_RATINGS_A,
  FUSE_RULES,
  fuseFor,
  fuseRerating,
  fuseVerdict,
  isFuseRating,
  protectingA,
} from '../../src/sums/fuse.ts';

test('the ratings of IEC 60127 are R10 of ISO 3: tenth powers of ten, rounded', () => {
  const ratings = FUSE_RATINGS_A['IEC 60127'];
  for (const [i, rating] of ratings.entries()) {
    const exact = 10 ** ((i - 15) / 10);
    // ISO 3, 4.3: preferred numbers are within -1.01 and +1.26 % of the exact ones (from memory).
    expect(rating / exact).toBeGreaterThan(1 - 0.0101);
    // The first is R10's 31.5, which the standard rounds to 32 mA.
    expect(rating / exact).toBeLessThan(i === 0 ? 1.0127 * (32 / 31.5) : 1.0127);
  }
  expect(ratings[0]).toBe(0.032);
  expect(isFuseRating(0.032, 'IEC 60127')).toBe(true);
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
    // A cartridge carries its rating all the time, a blade 80 % of it.
    expect(fuseFor({ loadA: 2.4, wireA: 10 }, 'IEC 60127')).toBe(2.5);
    expect(fuseFor({ loadA: 2.5, wireA: 10 }, 'IEC 60127')).toBe(2.5);
    expect(fuseFor({ loadA: 2.4, wireA: 10 }, 'ISO 8820')).toBe(3);
  });

  test('or none', () => {
    expect(fuseFor({ loadA: 5.5, wireA: 7 }, 'ISO 8820')).toBeUndefined();
    // 6.3 A may let 13.2 A flow for half an hour, and the wire carries 1.45 x 7 A = 10.2 A so long.
    expect(fuseFor({ loadA: 5.5, wireA: 7 }, 'IEC 60127')).toBeUndefined();
    expect(fuseFor({ loadA: 5.5, wireA: 9.2 }, 'IEC 60127')).toBe(6.3);
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

describe('what each standard lets flow', () => {
  test.each([
    // From memory: IEC 60127-2, 5 x 20 mm: 1.5 In for 60 min at least, 2.1 In for 30 min at most.
    ['IEC 60127', { carries: { times: 1.5, s: 60 * 60 }, opens: { times: 2.1, s: 30 * 60 } }],
    // From memory: ISO 8820-3: 1.1 In for 100 h at least, 1.35 In for 600 s at most.
    ['ISO 8820', { carries: { times: 1.1, s: 100 * 3600 }, opens: { times: 1.35, s: 600 } }],
  ] as const)('%s', (standard, rule) => {
    expect(FUSE_RULES[standard]).toMatchObject(rule);
  });

  test('so that I2 <= 1.45 Iz (IEC 60364-4-43, from memory)', () => {
    expect(protectingA(10, 'ISO 8820')).toBe(10);
    expect(protectingA(10, 'IEC 60127')).toBeCloseTo((10 * 1.45) / 2.1, 12);
    for (const standard of ['ISO 8820', 'IEC 60127'] as const)
      expect(protectingA(10, standard) * FUSE_RULES[standard].opens.times).toBeLessThanOrEqual(
        14.5 + 1e-9,
      );
    expect(fuseVerdict(5, { loadA: 1, wireA: 6 }, 'ISO 8820')).toBe('fits');
    expect(fuseVerdict(5, { loadA: 1, wireA: 6 }, 'IEC 60127')).toBe('does not protect the wire');
  });
});

test('never below what flows for a moment', () => {
  expect(fuseFor({ loadA: 0.4, momentA: 2.6, wireA: 10 }, 'ISO 8820')).toBe(3);
  expect(fuseFor({ loadA: 0.4, momentA: 2.6, wireA: 10 }, 'IEC 60127')).toBe(3.15);
  expect(fuseFor({ loadA: 0.4, momentA: 2.6, wireA: 2.5 }, 'ISO 8820')).toBeUndefined();
  expect(fuseVerdict(1, { loadA: 0.4, momentA: 2.6, wireA: 10 })).toBe('blows when a servo stalls');
});

test('in the heat a fuse carries less: 0.2 % for each kelvin above 25 C', () => {
  expect([0, 25, 45, 65].map(fuseRerating)).toEqual([1, 1, 0.96, 0.92]);
  expect(fuseFor({ loadA: 2.4, wireA: 10, ambientC: 25 }, 'IEC 60127')).toBe(2.5);
  expect(fuseFor({ loadA: 2.4, wireA: 10, ambientC: 65 }, 'IEC 60127')).toBe(3.15);
});
