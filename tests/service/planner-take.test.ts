import { describe, expect, test } from 'vitest';
import type { Params } from '../../src/api/methods.ts';
import type { Recording } from '../../src/core/recorder.ts';
import { parseTake, type Take } from '../../src/prop/take/take-text.ts';
import { takeAnswer } from '../../src/service/planner-take.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { TAKE_HZ } from '../../src/sums/take-points.ts';

// Expected values are worked out by hand from what the changes are said to do.

/** The beak opens to 20 deg in 1 s and shuts again; the head rests at 5 deg. */
const NOD: Take = {
  servos: [
    { name: 'beak', timesS: [0, 1, 2], deg: [0, 20, 0] },
    { name: 'head', timesS: [0.5], deg: [5] },
  ],
};

function make(of: Take | Recording, params: Params<'take.read'> = {}) {
  const made = takeAnswer({ about: 'take', of, params });
  const { take, findings } = parseTake(made.text, 'made.take');
  expect(findings).toEqual([]);
  return { made, beak: take!.servos[0]!, head: take!.servos[1]! };
}

function wordOf(work: () => unknown): string | undefined {
  try {
    work();
  } catch (error) {
    if (error instanceof Refusal) return error.word;
    throw error;
  }
  return undefined;
}

describe('a take of the prop', () => {
  test('without a change is the same take, point for point', () => {
    const { made, beak, head } = make(NOD);
    expect(beak).toEqual(NOD.servos[0]);
    expect(head).toEqual(NOD.servos[1]);
    expect(made).toMatchObject({ wholeS: 2, durationS: 2, points: 4 });
    expect(made.differenceDeg).toEqual({ beak: 0, head: 0 });
  });

  test('is smoothed, scaled, mirrored and shifted in this order, and the difference is told', () => {
    const changes = { scale: 0.5, aboutDeg: 10, mirrorDeg: 0, shiftDeg: 3 };
    const { made, beak, head } = make(NOD, changes);
    // 0 is 10 from 10: half of it is 5, mirrored -5, shifted -2. 20 becomes 15, -15, -12.
    expect(beak.deg).toEqual([-2, -12, -2]);
    expect(head.deg).toEqual([-4.5]);
    expect(made.differenceDeg).toEqual({ beak: 32, head: 9.5 });
    // Without an angle it is wider about where it begins.
    expect(make(NOD, { scale: 2 }).head.deg).toEqual([5]);
  });

  test('is trimmed, and drawn at the time that it had', () => {
    const { made, beak } = make(NOD, { trim: [1, 1.5] });
    expect([beak.timesS[0], beak.deg[0], beak.timesS.at(-1)]).toEqual([0, 20, 0.5]);
    expect(made.durationS).toBe(0.5);
    expect(made.simplified.beak![0]).toEqual([1, 20]);
    expect(made.recorded.beak!.at(-1)).toEqual([2, 0]);
    // Cut in the middle of a movement, it begins at rest.
    expect(made.differenceDeg.beak).toBeLessThan(3);
  });

  test('that is smoothed has few points again where that is asked for, within the tolerance', () => {
    const smooth = make(NOD, { smoothS: 0.4 }).made;
    const few = make(NOD, { smoothS: 0.4, toleranceDeg: 0.5 }).made;
    expect(smooth.simplified.beak!.length).toBe(2 * TAKE_HZ + 1);
    expect(few.simplified.beak!.length).toBeLessThan(20);
    expect(few.differenceDeg.beak! - smooth.differenceDeg.beak!).toBeLessThanOrEqual(0.51);
  });

  test('of which nothing is left, or which would be none, is refused', () => {
    expect(wordOf(() => make(NOD, { trim: [3, 4] }))).toBe('take.trimmed-away');
    const far: Take = { servos: [{ name: 'beak', timesS: [0, 1], deg: [0, 30_000] }] };
    expect(wordOf(() => make(far, { scale: 100 }))).toBe('take.unusable');
    const long = Array.from({ length: 25_000 }, (_, i) => i / TAKE_HZ);
    const many: Take = {
      servos: ['beak', 'head'].map((name) => ({ name, timesS: long, deg: long.map(() => 1) })),
    };
    expect(wordOf(() => make(many))).toBe('take.too-long');
  });
});

describe('a recording', () => {
  const nod: Recording = {
    channels: ['beak', 'head'],
    count: 101,
    ended: 'me',
    samples: Float32Array.from(
      Array.from({ length: 101 }, (_, i) => [20 * Math.sin((Math.PI * i) / 100), 5]).flat(),
    ),
  };

  test('has no more points than it takes, as near as half a degree unless somebody says otherwise', () => {
    const usual = make(nod).made;
    expect(usual.points).toBeLessThan(20);
    expect(usual.differenceDeg.beak).toBeLessThanOrEqual(0.5);
    const near = make(nod, { toleranceDeg: 0.1 }).made;
    expect(near.points).toBeGreaterThan(usual.points);
    expect(near.differenceDeg.beak).toBeLessThanOrEqual(0.1);
  });

  test('is changed as a take is', () => {
    const { made, beak, head } = make(nod, { trim: [0.5, 1.5], mirrorDeg: 0, shiftDeg: 1 });
    expect(made.durationS).toBe(1);
    expect(Math.abs(Math.min(...beak.deg) + 19)).toBeLessThanOrEqual(0.5);
    expect(head.deg.every((deg) => deg === -4)).toBe(true);
    expect(made.differenceDeg.head).toBe(9);
  });
});
