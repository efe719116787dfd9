import { expect, test } from 'vitest';
import { holdingA, KGF_CM_NM, loadedSpeedDegS, ratedAt } from '../../src/sums/servo-line.ts';
import { capacitorF } from '../../src/sums/supply.ts';

test('1 kgf cm is 0.0980665 N m: standard gravity (3rd CGPM 1901; ISO 80000-3)', () => {
  expect(KGF_CM_NM).toBeCloseTo(9.80665 / 100, 12);
});

test('both ends of the line go with the voltage, and between them it is straight', () => {
  const rated = { volts: 6, speedDegS: 400, stallNm: 0.36 };
  expect(ratedAt(rated, 4.5)).toEqual({ volts: 4.5, speedDegS: 300, stallNm: 0.27 });
  expect(ratedAt({ volts: 6, speedDegS: 400 }, -1).speedDegS).toBe(0);
  expect([0, 0.09, 0.18, 0.36, 1].map((nm) => loadedSpeedDegS(400, nm, 0.36))).toEqual([
    400, 300, 200, 0, 0,
  ]);
});

test('a motor by its own equations has that line and that current', () => {
  // V = I R + k w and T = k I, with R = 2 ohm and k = 0.01: at 6 V it stalls at 3 A and 0.03 N m.
  const [R, k, V] = [2, 0.01, 6];
  for (const amps of [0, 0.5, 1.5, 3]) {
    const torqueNm = k * amps;
    const speed = (V - amps * R) / k;
    expect(loadedSpeedDegS(V / k, torqueNm, (k * V) / R)).toBeCloseTo(speed, 9);
    expect(holdingA({ idleA: 0, stallA: V / R }, torqueNm, (k * V) / R)).toBeCloseTo(amps, 12);
  }
});

test('a capacitor by its definition: 1 F gives 1 A for 1 s as it falls by 1 V', () => {
  expect(capacitorF(1, 1, 1)).toBe(1);
  expect(capacitorF(2, 0.05, 0.5)).toBeCloseTo(0.2, 12);
  expect(capacitorF(-1, 1, 1)).toBe(0);
});
