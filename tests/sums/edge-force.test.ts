import { expect, test } from 'vitest';
import { edgeForceN, torqueShare } from '../../src/sums/edge-force.ts';

test('a torque at an arm is a force', () => {
  // 1 kgf cm at 1 cm is 1 kgf, 9.80665 N (the standard acceleration of gravity, 3rd CGPM 1901).
  expect(edgeForceN(0.0980665, 10)).toBeCloseTo(9.80665, 12);
  expect(edgeForceN(-0.0980665, 100)).toBeCloseTo(0.980665, 12);
});

test('the torque of a motor grows with its current, from that at no load to the stall', () => {
  expect(torqueShare(0.02, 0.02, 2)).toBe(0);
  expect(torqueShare(2, 0.02, 2)).toBe(1);
  expect(torqueShare(1.01, 0.02, 2)).toBeCloseTo(0.5, 12);
  expect(torqueShare(5, 0.02, 2)).toBe(1);
  expect(torqueShare(0, 0.02, 2)).toBe(0);
  // What is not known counts as the whole torque.
  expect(torqueShare(0.5, 0, 0)).toBe(1);
});
