import { describe, expect, test } from 'vitest';
import { meanDeg, type Orientation, tiltOf, turnDeg, upOf } from '../../src/sums/tilt.ts';

/** The rotations of the standard, as matrices, each written out (any handbook of robotics). */
type Matrix = readonly [readonly number[], readonly number[], readonly number[]];
const [sin, cos] = [
  (deg: number) => Math.sin((deg * Math.PI) / 180),
  (deg: number) => Math.cos((deg * Math.PI) / 180),
];
const about = {
  x: (t: number): Matrix => [
    [1, 0, 0],
    [0, cos(t), -sin(t)],
    [0, sin(t), cos(t)],
  ],
  y: (t: number): Matrix => [
    [cos(t), 0, sin(t)],
    [0, 1, 0],
    [-sin(t), 0, cos(t)],
  ],
  z: (t: number): Matrix => [
    [cos(t), -sin(t), 0],
    [sin(t), cos(t), 0],
    [0, 0, 1],
  ],
};
const product = (a: Matrix, b: Matrix): Matrix =>
  a.map((row) => [0, 1, 2].map((j) => row.reduce((sum, one, k) => sum + one * b[k]![j]!, 0))) as [
    number[],
    number[],
    number[],
  ];
/** Up in the phone: the inverse, which is the transpose, of phone to earth, applied to (0, 0, 1). */
function upByMatrices({ alpha, beta, gamma }: Orientation) {
  const [, , [x, y, z]] = product(product(about.z(alpha), about.x(beta)), about.y(gamma));
  return { x: x!, y: y!, z: z! };
}

describe('the examples of the standard (W3C, Device Orientation and Motion, deviceorientation event)', () => {
  test('flat on a table, its top to the west: alpha 90, beta 0, gamma 0', () => {
    const up = upOf({ alpha: 90, beta: 0, gamma: 0 });
    expect([up.x, up.y, up.z].map((one) => one + 0)).toEqual([0, 0, 1]);
  });
  test('the screen upright and its top up: beta 90, whatever alpha and gamma are', () => {
    for (const [alpha, gamma] of [
      [0, 0],
      [123, -80],
      [270, 45],
    ] as const) {
      const { x, y, z } = upOf({ alpha, beta: 90, gamma });
      expect(x).toBeCloseTo(0, 12);
      expect(y).toBeCloseTo(1, 12);
      expect(z).toBeCloseTo(0, 12);
    }
  });
});

test('up is that of the three rotations multiplied out, at every attitude', () => {
  for (let alpha = 0; alpha < 360; alpha += 45)
    for (let beta = -180; beta < 180; beta += 15)
      for (let gamma = -90; gamma < 90; gamma += 15) {
        const up = upOf({ alpha, beta, gamma });
        const wanted = upByMatrices({ alpha, beta, gamma });
        for (const axis of ['x', 'y', 'z'] as const) expect(up[axis]).toBeCloseTo(wanted[axis], 12);
      }
});

describe('a turn about the hinge', () => {
  /** Up in a phone that begins with `level` up and turns right-handed by t about one of its axes. */
  const turned = (axis: 'x' | 'y' | 'z', level: readonly number[], t: number) => {
    const [x, y, z] = about[axis](-t).map((row) =>
      row.reduce((sum, one, i) => sum + one * level[i]!, 0),
    );
    return { x: x!, y: y!, z: z! };
  };
  test.each([
    ['short edge', 'x', [0, 0, 1]],
    ['long edge', 'y', [0, 0, 1]],
    ['screen', 'z', [0, 1, 0]],
  ] as const)('along the %s is read as it was made', (along, axis, level) => {
    for (let t = -179; t <= 180; t += 7) {
      const { deg, lever } = tiltOf(turned(axis, level, t), along);
      expect(deg).toBeCloseTo(t, 9);
      expect(lever).toBeCloseTo(1, 12);
    }
  });

  test('beta lifts the top of a phone on its back, and gamma its left edge', () => {
    expect(tiltOf(upOf({ alpha: 10, beta: 30, gamma: 0 }), 'short edge').deg).toBeCloseTo(30, 9);
    expect(tiltOf(upOf({ alpha: 10, beta: 0, gamma: 30 }), 'long edge').deg).toBeCloseTo(30, 9);
  });

  test('an upright hinge has no lever', () => {
    expect(tiltOf(upOf({ alpha: 0, beta: 0, gamma: 0 }), 'screen').lever).toBeCloseTo(0, 12);
    expect(tiltOf(upOf({ alpha: 0, beta: 90, gamma: 0 }), 'long edge').lever).toBeCloseTo(0, 12);
  });
});

test('turns and means go the short way across half a turn', () => {
  expect(turnDeg(170, -170)).toBe(20);
  expect(turnDeg(-170, 170)).toBe(-20);
  expect(turnDeg(10, 10)).toBe(0);
  expect(turnDeg(0, 180)).toBe(180);
  expect(turnDeg(0, -540)).toBe(180);
  expect(Math.abs(meanDeg([179, -179]))).toBeCloseTo(180, 9);
  expect(meanDeg([10, 12, 14])).toBeCloseTo(12, 9);
});
