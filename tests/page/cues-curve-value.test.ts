import { expect, it } from 'vitest';
import { indexAt, valueAt } from '../../src/gateway/page/cues-curve-value.ts';

it('is in a straight line between two times, and stays before the first and after the last', () => {
  const beak = { tS: [0, 1, 3], value: [0, 10, 30] };
  const at = [-1, 0, 0.5, 1, 2, 3, 9];
  expect(at.map((tS) => valueAt(beak, tS))).toEqual([0, 0, 5, 10, 20, 30, 30]);
});

it('stays until the next value where it is on or off', () => {
  const mist = { tS: [0, 2.5, 6.5], value: [0, 1, 0] };
  expect([0, 2.49, 2.5, 6.4, 6.5, 9].map((tS) => valueAt(mist, tS, true))).toEqual([
    ...[false, false, true, true, false, false],
  ]);
});

it('mixes colours part by part', () => {
  const eye = { tS: [0, 2], value: ['#000000', '#ff8000'] };
  expect(valueAt(eye, 1)).toBe('#804000');
  expect(valueAt(eye, 5)).toBe('#ff8000');
});

it('finds the last time that is not later', () => {
  const tS = [0, 0.1, 0.2, 0.5];
  expect([0, 0.1, 0.15, 0.5, 7, -1].map((at) => indexAt(tS, at))).toEqual([0, 1, 1, 3, 3, 0]);
});
