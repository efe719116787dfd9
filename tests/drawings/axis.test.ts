import { expect, test } from 'vitest';
import { curve, ticks, xOf } from '../../src/drawings/axis.tsx';

const axis = (width: number, endS: number) => ({ left: 100, right: 100 + width, endS });

test.each([
  [900, 6.5, [0, 1, 2, 3, 4, 5, 6]],
  [900, 0.38, [0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35]],
  [270, 6.5, [0, 2, 4, 6]],
  [10, 6.5, [0]],
])('an axis of %d px to %d s has round times', (width, endS, times) => {
  expect(ticks(axis(width, endS))).toEqual(times);
});

test('what lies outside of it stands at its ends', () => {
  expect([-1, 5, 11].map((tS) => xOf(axis(200, 10), tS))).toEqual([100, 200, 300]);
});

test('a curve goes straight on where nothing changes', () => {
  const series = { tS: [0, 5], value: [0, 1] };
  expect(curve(axis(4, 10), series, (value) => 10 - value)).toBe('M100 10L101.5 10L102 9L104 9');
});
