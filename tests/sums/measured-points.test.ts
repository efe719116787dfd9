import { describe, expect, test } from 'vitest';
import type { CalibrationPoint } from '../../src/sums/calibration.ts';
import {
  inNewDegrees,
  largestDifference,
  lineThrough,
  measuredCalibration,
  pointProblem,
} from '../../src/sums/measured-points.ts';
import { ServoMapping } from '../../src/sums/servo-mapping.ts';

/**
 * NIST Statistical Reference Datasets, linear regression, Norris (y on x; certified intercept
 * -0.262323073774029, slope 1.00211681802045; data and values from memory, and they agree).
 */
const NORRIS_YX =
  '0.1 0.2 338.8 337.4 118.1 118.2 888.0 884.6 9.2 10.1 228.1 226.5 668.5 666.3 998.5 996.3 449.1 448.6 778.9 777.0 559.2 558.2 0.3 0.4 0.1 0.6 778.1 775.5 668.8 666.9 339.3 338.0 448.9 447.5 10.8 11.6 557.7 556.0 228.3 228.1 998.0 995.8 888.8 887.6 119.6 120.2 0.3 0.3 0.6 0.3 557.6 556.8 339.3 339.1 888.0 887.2 998.5 999.0 778.9 779.0 10.2 11.1 117.6 118.3 228.9 229.2 668.4 669.1 449.2 448.9 0.2 0.5';

test('a line by least squares agrees with the certified values of NIST', () => {
  const numbers = NORRIS_YX.split(' ').map(Number);
  const points = Array.from(
    { length: numbers.length / 2 },
    (_, i) => [numbers[2 * i + 1]!, numbers[2 * i]!] as const,
  );
  expect(points).toHaveLength(36);
  const { slope, intercept } = lineThrough(points);
  expect(slope).toBeCloseTo(1.00211681802045, 10);
  expect(intercept).toBeCloseTo(-0.262323073774029, 8);
});

const ENVELOPE = [900, 2100] as const;

describe('points', () => {
  // A usual hobby servo turns 90 deg for 1000 us (from memory, no one maker's).
  test('two on the usual line give that line, and say what lies beyond them', () => {
    const { calibration, degPerUs, questioned, beyond } = measuredCalibration(
      [
        [2000, 45],
        [1000, -45],
      ],
      ENVELOPE,
    );
    expect(calibration).toEqual([
      [1000, -45],
      [2000, 45],
    ]);
    expect(degPerUs).toBeCloseTo(0.09, 12);
    expect(questioned).toBeUndefined();
    expect(beyond).toEqual([
      { endUs: 900, endDeg: -54, byUs: 100, errorDeg: 1.2 },
      { endUs: 2100, endDeg: 54, byUs: 100, errorDeg: 1.2 },
    ]);
  });

  test('the error beyond them is what two wrong readings really make', () => {
    const [low, high]: CalibrationPoint[] = [
      [1400, -9],
      [1700, 18],
    ];
    const right = measuredCalibration([low!, high!], ENVELOPE).beyond;
    // Each reading 1 deg wrong, away from the other.
    const wrong = measuredCalibration(
      [
        [1400, -10],
        [1700, 19],
      ],
      ENVELOPE,
    ).beyond;
    for (const i of [0, 1])
      expect(Math.abs(wrong[i]!.endDeg - right[i]!.endDeg)).toBeCloseTo(right[i]!.errorDeg, 9);
  });

  test('points that reach the ends leave nothing beyond', () => {
    expect(
      measuredCalibration(
        [
          [900, 60],
          [2100, -50],
        ],
        ENVELOPE,
      ).beyond,
    ).toEqual([]);
  });

  test('a reversed servo, in any order of points', () => {
    const { calibration, degPerUs } = measuredCalibration(
      [
        [1500, 2],
        [2000, -41],
        [1000, 47],
      ],
      ENVELOPE,
    );
    expect(calibration).toEqual([
      [1000, 47],
      [1500, 2],
      [2000, -41],
    ]);
    expect(degPerUs).toBeCloseTo(-0.088, 12);
    // What is written passes the rules of the prop file.
    expect(new ServoMapping({ calibration }).calibrationDeg).toEqual([-41, 47]);
  });

  const line: CalibrationPoint[] = [1000, 1250, 1500, 1750, 2000].map((us) => [
    us,
    (us - 1500) * 0.09,
  ]);

  test('a slip in reading is asked about, and the right point is named', () => {
    for (const i of line.keys()) {
      const read = line.map(([us, deg], j): CalibrationPoint => [us, j === i ? deg + 8 : deg]);
      expect(measuredCalibration(read, ENVELOPE).questioned?.pulseUs).toBe(line[i]![0]);
    }
  });

  test('a servo that is not straight by a few degrees is not asked about', () => {
    // Twice the usual bend: a sine of 2 deg over the whole range.
    const bent = line.map(
      ([us, deg]): CalibrationPoint => [us, deg + 2 * Math.sin(((us - 1000) / 1000) * Math.PI * 2)],
    );
    expect(measuredCalibration(bent, ENVELOPE).questioned).toBeUndefined();
  });

  test.each<[string, CalibrationPoint[], RegExp]>([
    ['none', [], /there is no point yet; take two or more/],
    ['one', [[1500, 0]], /one point is not enough; take two or more/],
    [
      'two at almost the same pulse',
      [
        [1500, 0],
        [1560, 20],
      ],
      /only 60 us from the point at 1500 us/,
    ],
    [
      'the same place twice',
      [
        [1500, 0],
        [1500, 20],
      ],
      /only 0 us/,
    ],
    [
      'a servo that does not turn',
      [
        [1200, 10],
        [1800, 12],
      ],
      /Does the servo turn at all/,
    ],
    [
      'one that turns back',
      [
        [1000, -45],
        [1500, 20],
        [2000, 0],
      ],
      /turn back/,
    ],
    [
      'no number',
      [
        [1000, Number.NaN],
        [1500, 20],
      ],
      /must both be numbers/,
    ],
    [
      'an infinite angle',
      [
        [1000, Number.POSITIVE_INFINITY],
        [1500, 20],
      ],
      /must both be numbers/,
    ],
    [
      'more than a turn',
      [
        [1000, 4500],
        [1500, 20],
      ],
      /more than one turn/,
    ],
  ])('%s: refused', (_name, points, reason) => {
    expect(() => measuredCalibration(points, ENVELOPE)).toThrow(reason);
  });

  test('a point is judged before it is taken', () => {
    expect(pointProblem([[1000, -45]], [1050, -30])).toMatch(/points must be 100 us apart/);
    expect(pointProblem([[1000, -45]], [2000, 45])).toBeUndefined();
    expect(
      pointProblem(
        [
          [1000, -45],
          [2000, 45],
        ],
        [1500, 60],
      ),
    ).toMatch(/turn back/);
  });
});

describe('a new calibration', () => {
  const was = new ServoMapping({
    calibration: [
      [1000, -45],
      [2000, 45],
    ],
    envelopeUs: ENVELOPE,
  });
  /** Turned the other way round, not straight, and with another zero. */
  const is = new ServoMapping({
    calibration: [
      [1100, 61],
      [1500, 20],
      [1900, -19],
    ],
    envelopeUs: ENVELOPE,
  });

  test('differs from the old one most at the place that is named', () => {
    const worst = largestDifference(was, is, ENVELOPE);
    let found = 0;
    for (let us = 900; us <= 2100; us++)
      found = Math.max(found, Math.abs(is.toDeg(us) - was.toDeg(us)));
    expect(Math.abs(worst.deg)).toBeCloseTo(found, 9);
    expect(is.toDeg(worst.atUs) - was.toDeg(worst.atUs)).toBe(worst.deg);
  });

  test('keeps every place in its pulses, also of a reversed servo', () => {
    const places = { limitsDeg: [-5, 35] as const, marks: { shut: 0, open: 30 }, park: -5 };
    const kept = inNewDegrees(places, was, is);
    const stepUs = 0.01 / 0.0975; // how many us a step in which they are written is
    for (const [mark, deg] of Object.entries(places.marks))
      expect(Math.abs(is.toPulseUs(kept.marks[mark]!) - was.toPulseUs(deg))).toBeLessThan(stepUs);
    expect(Math.abs(is.toPulseUs(kept.park as number) - was.toPulseUs(-5))).toBeLessThan(stepUs);
    // Low stays below high, and neither lets the servo go further than before.
    const pulses = kept.limitsDeg.map((deg) => is.toPulseUs(deg)).sort((a, b) => a - b);
    expect(kept.limitsDeg[0]).toBeLessThan(kept.limitsDeg[1]);
    expect(pulses[0]!).toBeGreaterThanOrEqual(was.toPulseUs(-5) - 1e-3);
    expect(pulses[1]!).toBeLessThanOrEqual(was.toPulseUs(35) + 1e-3);
    // The park position was the limit itself: it is within it.
    expect(kept.park as number).toBeLessThanOrEqual(kept.limitsDeg[1]);
  });

  test('to the same calibration changes nothing', () => {
    const places = {
      limitsDeg: [-5, 35] as const,
      marks: { shut: 0.01, open: 33.33 },
      park: 'shut',
    };
    expect(inNewDegrees(places, was, was)).toEqual(places);
  });
});
