import { expect, test } from 'vitest';
import {
  AS_RECORDED,
  freeTakeName,
  pastLimits,
  rangeOfCurves,
  wantedOf,
} from '../../src/gateway/page/cues-take-change.ts';

test('what was chosen is asked for, and nothing else', () => {
  expect(wantedOf('', AS_RECORDED)).toEqual({ toleranceDeg: 0.5 });
  expect(wantedOf('wave', {})).toEqual({ take: 'wave' });
  const all = { smoothS: 0.2, widthPercent: 150, aboutDeg: 5, mirrorDeg: 0, shiftDeg: -3 };
  expect(wantedOf('wave', all, [0.5, 2])).toEqual({
    ...{ take: 'wave', trim: [0.5, 2], smoothS: 0.2 },
    ...{ scale: 1.5, aboutDeg: 5, mirrorDeg: 0, shiftDeg: -3 },
  });
  // What is wider about nothing is not asked about it.
  expect(wantedOf('', { widthPercent: undefined, aboutDeg: 5 })).toEqual({});
});

test('a take that is made of another one gets a name of its own', () => {
  expect(freeTakeName('wave', ['wave'])).toBe('wave_2');
  expect(freeTakeName('wave_2', ['wave', 'wave_2', 'wave_3'])).toBe('wave_4');
});

test('what goes past the limits of its servo is said before it is saved', () => {
  const curve = [
    [0, 0],
    [1, 42.04],
    [2, 10],
  ] as const;
  expect(pastLimits('beak', curve, [-5, 35])).toBe(
    'beak would go to 42 deg; its limits are −5 to 35 deg. No cue can play it like this.',
  );
  expect(pastLimits('beak', curve, [0, 42.035])).toBe('');
  expect(pastLimits('beak', curve, [1, 50])).toMatch(/^beak would go to 0 deg/);
  expect(pastLimits('beak', [], [0, 1])).toBe('');
  // A servo that the prop no longer has.
  expect(pastLimits('beak', curve, undefined)).toBe('');
});

test('the range is that of all curves', () => {
  expect(
    rangeOfCurves(
      [[0, 3]],
      [
        [0, -2],
        [1, 8],
      ],
      [],
    ),
  ).toEqual([-2, 8]);
  expect(rangeOfCurves()).toEqual([0, 0]);
});
