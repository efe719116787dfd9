import { describe, expect, test } from 'vitest';
import { seeded } from '../../src/sums/random.ts';
import { TakeCurve } from '../../src/sums/take-curve.ts';
import { curvePoints, linePoints } from '../../src/sums/take-simplify.ts';

const STEP_S = 0.02;
const wave = (count: number) =>
  Float64Array.from({ length: count }, (_, i) => 20 * Math.sin(i / 9));
const wild = (count: number) => {
  const random = seeded(7);
  return Float64Array.from({ length: count }, () => 80 * random() - 40);
};
/** A hand: a walk whose speed changes slowly. */
const hand = (count: number) => {
  const random = seeded(11);
  let [at, speed] = [0, 0];
  return Float64Array.from({ length: count }, () => {
    speed = 0.95 * speed + 0.4 * (random() - 0.5);
    at += speed;
    return at;
  });
};

/** How far lines between the kept samples are from all samples (deg). */
function lineOff(deg: Float64Array, kept: readonly number[]): number {
  let most = 0;
  for (let k = 0; k + 1 < kept.length; k++)
    for (let i = kept[k]!; i <= kept[k + 1]!; i++) {
      const share = (i - kept[k]!) / (kept[k + 1]! - kept[k]!);
      const line = deg[kept[k]!]! + share * (deg[kept[k + 1]!]! - deg[kept[k]!]!);
      most = Math.max(most, Math.abs(line - deg[i]!));
    }
  return most;
}

function curveOff(deg: Float64Array, kept: readonly number[]): number {
  const curve = new TakeCurve(
    kept.map((i) => i * STEP_S),
    kept.map((i) => deg[i]!),
  );
  return Math.max(...deg.map((one, i) => Math.abs(curve.at(i * STEP_S) - one)));
}

describe.each([0, 0.05, 0.5, 3])('within %s deg', (tolerance) => {
  test.each([
    ['a wave', wave(600)],
    ['a hand', hand(1500)],
    ['something wild', wild(400)],
    ['a step', Float64Array.of(0, 0, 0, 30, 30, 30)],
    ['two samples', Float64Array.of(1, 2)],
  ])('%s', (_, deg) => {
    const lines = linePoints(deg, tolerance);
    expect([lines[0], lines.at(-1)]).toEqual([0, deg.length - 1]);
    expect(lineOff(deg, lines)).toBeLessThanOrEqual(tolerance + 1e-9);
    const kept = curvePoints(deg, STEP_S, tolerance, 10_000)!;
    expect(curveOff(deg, kept)).toBeLessThanOrEqual(tolerance + 1e-8);
    expect([...new Set(kept)].sort((a, b) => a - b)).toEqual(kept);
  });
});

test('what is straight needs its ends alone', () => {
  const line = Float64Array.from({ length: 500 }, (_, i) => 0.1 * i);
  expect(linePoints(line, 0.01)).toEqual([0, 499]);
  expect(curvePoints(new Float64Array(500), STEP_S, 0, 10)).toEqual([0, 499]);
  expect(linePoints(Float64Array.of(5), 1)).toEqual([0]);
});

test('a hand at half a degree needs a small part of its samples', () => {
  const deg = hand(3000);
  expect(curvePoints(deg, STEP_S, 0.5, 3000)!.length).toBeLessThan(400);
});

test('more than there may be: nothing', () => {
  expect(curvePoints(wild(400), STEP_S, 0.1, 300)).toBeUndefined();
});
