import { describe, expect, test } from 'vitest';
import {
  ambientFactor,
  awgDiameterMm,
  awgSectionMm2,
  awgWithSection,
  bundleFactor,
  capacityA,
  copperResistivity,
  IEC_60228_MM2,
  iecSectionMm2,
  ohmPerMetre,
  sectionForDropMm2,
  strictCapacityA,
} from '../../src/sums/wire.ts';

/** Relative difference. */
const off = (value: number, reference: number) => Math.abs(value / reference - 1);

// ASTM B258, table 1: gauge, diameter (mm), section (mm2); and the resistance of annealed copper at
// 20 C (ohm/km) that tables of the gauge give with it. From memory.
test.each([
  [-3, 11.684, 107.2, 0.1608],
  [0, 8.251, 53.48, 0.3224],
  [10, 2.588, 5.261, 3.277],
  [18, 1.024, 0.8231, 20.95],
  [22, 0.6438, 0.3255, 52.96],
  [24, 0.5106, 0.2047, 84.22],
  [30, 0.2546, 0.05092, 338.6],
  [36, 0.127, 0.01267, 1361],
  [40, 0.07987, 0.00501, 3441],
])('%i AWG', (gauge, diameterMm, sectionMm2, ohmPerKm) => {
  expect(off(awgDiameterMm(gauge), diameterMm)).toBeLessThan(5e-4);
  expect(off(awgSectionMm2(gauge), sectionMm2)).toBeLessThan(1e-3);
  expect(off(1000 * ohmPerMetre(awgSectionMm2(gauge)), ohmPerKm)).toBeLessThan(2e-3);
});

// NFPA 70, chapter 9, table 8: uncoated solid copper at 75 C, ohm/km (from memory).
test.each([
  [18, 25.5],
  [14, 10.1],
  [12, 6.34],
  [10, 3.984],
])('%i AWG at 75 C', (gauge, ohmPerKm) => {
  expect(off(1000 * ohmPerMetre(awgSectionMm2(gauge), 75), ohmPerKm)).toBeLessThan(5e-3);
});

// IEC 60228, table 1: most resistance of a solid conductor at 20 C, ohm/km (from memory). It allows for
// tolerances of making, up to a twelfth.
test.each([
  [0.5, 36.0],
  [0.75, 24.5],
  [1, 18.1],
  [1.5, 12.1],
  [2.5, 7.41],
  [4, 4.61],
  [6, 3.08],
  [10, 1.83],
  [16, 1.15],
])('%d mm2', (sectionMm2, maxOhmPerKm) => {
  expect(IEC_60228_MM2).toContain(sectionMm2);
  const ohmPerKm = 1000 * ohmPerMetre(sectionMm2);
  expect(ohmPerKm).toBeLessThan(maxOhmPerKm);
  expect(ohmPerKm).toBeGreaterThan(maxOhmPerKm * (11 / 12));
});

// IEC 60228, table 3: most resistance of a class 5 conductor of tinned strands at 20 C, ohm/km (from memory).
test.each([
  [0.5, 40.1],
  [0.75, 26.7],
  [1, 20.0],
  [1.5, 13.7],
  [2.5, 8.21],
  [4, 5.09],
  [6, 3.39],
  [10, 1.95],
  [16, 1.24],
  [25, 0.795],
])('%d mm2 of tinned strands has 13 to 19 % above the sum', (sectionMm2, maxOhmPerKm) => {
  const times = maxOhmPerKm / (1000 * ohmPerMetre(sectionMm2));
  expect(times).toBeGreaterThan(1.13);
  expect(times).toBeLessThan(1.195);
});

// "Maximum amps for power transmission" of tables of American wire gauges (Handbook of Electronic Tables
// and Formulas; from memory).
test.each([
  [10, 15],
  [12, 9.3],
  [14, 5.9],
  [16, 3.7],
  [18, 2.3],
  [20, 1.5],
  [22, 0.92],
  [24, 0.577],
  [26, 0.361],
  [28, 0.226],
  [30, 0.142],
])('%d AWG carries %d A by the strict rule', (gauge, amps) => {
  const sumA = strictCapacityA(awgSectionMm2(gauge));
  expect(sumA / amps).toBeGreaterThan(0.97);
  expect(sumA / amps).toBeLessThan(1.02);
});

// IEC 60204-1, annex D, table D.1: correction factors for PVC (from memory).
test.each([
  [40, 1],
  [45, 0.91],
  [50, 0.82],
  [55, 0.71],
  [60, 0.58],
])('at %d C a wire keeps %d of its capacity', (ambientC, factor) => {
  expect(ambientFactor(ambientC)).toBeCloseTo(factor, 2);
});

test('a cool prop allows no more than the table, and one at 70 C nothing', () => {
  expect(ambientFactor(-20)).toBe(1);
  expect(ambientFactor(70)).toBe(0);
  expect(ambientFactor(85)).toBe(0);
});

test('copper at 20 C and at 0 C, IEC 60028: 0.017241 ohm mm2/m, 0.00393 a kelvin', () => {
  expect(copperResistivity()).toBeCloseTo(0.017241, 6);
  expect(copperResistivity(0)).toBeCloseTo(0.017241 * (1 - 20 * 0.00393), 6);
});

describe('drop', () => {
  // Worked by hand: 5 A over 10 m of 2.5 mm2 and back: 5 x 20 / (58 x 2.5) = 0.6897 V.
  test('of a run', () => {
    const run = { amps: 5, lengthM: 10 };
    expect(sectionForDropMm2(run, 0.68966)).toBeCloseTo(2.5, 4);
  });

  test('the gauge and the section for it are the next ones', () => {
    expect(awgWithSection(0.2047)).toBe(24);
    expect(awgWithSection(0.206)).toBe(22);
    expect(awgWithSection(60)).toBeUndefined();
    expect(iecSectionMm2(1.6)).toBe(2.5);
    expect(iecSectionMm2(1001)).toBeUndefined();
  });
});

describe('capacity', () => {
  // IEC 60204-1, table 6, method B2 (from memory).
  test.each([
    [0.2, 4.3],
    [0.5, 7.5],
    [1.5, 13.1],
    [4, 23],
    [25, 70],
  ])('%d mm2', (sectionMm2, amps) => expect(capacityA(sectionMm2)).toBeCloseTo(amps, 9));

  test('rises with the section, below the table in proportion to it, above it no more', () => {
    let last = 0;
    for (let mm2 = 0.01; mm2 < 25; mm2 *= 1.1) {
      expect(capacityA(mm2)).toBeGreaterThan(last);
      last = capacityA(mm2);
    }
    expect(capacityA(0.1)).toBeCloseTo(2.15, 9);
    expect(capacityA(100)).toBe(70);
  });

  // IEC 60364-5-52, table B.52.17, row 1 (from memory).
  test('of bunched circuits', () => {
    expect([1, 2, 3, 6, 9, 10, 20, 99].map(bundleFactor)).toEqual([
      1, 0.8, 0.7, 0.57, 0.5, 0.45, 0.38, 0.38,
    ]);
  });
});
