import { describe, expect, test } from 'vitest';
import { Calibration, type CalibrationPoint, PulseBounds } from '../../src/sums/calibration.ts';
import fc from '../fast-check.ts';

/** Points with pulses and angles strictly monotonic; either may fall. */
const points = fc
  .tuple(
    fc.double({ min: 400, max: 1500, noNaN: true }),
    fc.double({ min: -180, max: 180, noNaN: true }),
    fc.array(
      fc.tuple(
        fc.double({ min: 10, max: 600, noNaN: true }),
        fc.double({ min: 1, max: 90, noNaN: true }),
      ),
      { minLength: 1, maxLength: 6 },
    ),
    fc.boolean(),
    fc.boolean(),
  )
  .map(([pulseUs, angleDeg, gaps, pulseFalls, angleFalls]) => {
    const made: [number, number][] = [[pulseUs, angleDeg]];
    for (const [pulseGap, angleGap] of gaps) {
      const [lastPulse, lastAngle] = made.at(-1)!;
      made.push([lastPulse + pulseGap, lastAngle + (angleFalls ? -angleGap : angleGap)]);
    }
    return pulseFalls ? made.reverse() : made;
  });

/** Textbook linear interpolation in its two-weights form, on the segment that holds `x`. */
function lerpAt(pairs: readonly CalibrationPoint[], from: 0 | 1, x: number): number {
  const to = from === 0 ? 1 : 0;
  const sorted = [...pairs].sort((one, other) => one[from] - other[from]);
  let i = sorted.findIndex((pair) => pair[from] > x) - 1;
  if (i === -2) i = sorted.length - 2;
  i = Math.max(i, 0);
  const [low, high] = [sorted[i]!, sorted[i + 1]!];
  const weight = (x - low[from]) / (high[from] - low[from]);
  return low[to] * (1 - weight) + high[to] * weight;
}

describe('Calibration', () => {
  test('worked by hand: 1 ms to 2 ms for 90 deg, common practice for hobby servos, no source', () => {
    const calibration = new Calibration([
      [1000, -45],
      [1500, 0],
      [2000, 45],
    ]);
    expect(calibration.toPulseUs(0)).toBe(1500);
    expect(calibration.toPulseUs(9)).toBe(1600);
    expect(calibration.toDeg(1250)).toBe(-22.5);
    // 100 us beyond the end at 0.09 deg/us
    expect(calibration.toDeg(2100)).toBeCloseTo(54, 12);
    expect(calibration.toPulseUs(-54)).toBeCloseTo(900, 12);
    expect([calibration.lowDeg, calibration.highDeg]).toEqual([-45, 45]);
    expect([calibration.lowUs, calibration.highUs]).toEqual([1000, 2000]);
  });

  test('worked by hand: unequal segments, the angle falling, points given from the far end', () => {
    const calibration = new Calibration([
      [2000, -10],
      [1600, 0],
      [1000, 60],
    ]);
    expect(calibration.points[0]).toEqual([1000, 60]);
    expect(calibration.toPulseUs(30)).toBe(1300);
    expect(calibration.toPulseUs(-5)).toBe(1800);
    expect(calibration.toPulseUs(-20)).toBe(2400);
    expect(calibration.toPulseUs(70)).toBe(900);
    expect(calibration.toDeg(1900)).toBe(-7.5);
    expect([calibration.lowDeg, calibration.highDeg]).toEqual([-10, 60]);
  });

  test('goes exactly through every point and agrees with linear interpolation', () => {
    fc.assert(
      fc.property(points, fc.double({ min: -0.5, max: 1.5, noNaN: true }), (pairs, share) => {
        const calibration = new Calibration(pairs);
        for (const [pulseUs, angleDeg] of pairs) {
          expect(calibration.toDeg(pulseUs) - angleDeg).toBe(0);
          expect(calibration.toPulseUs(angleDeg) - pulseUs).toBe(0);
        }
        const pulseUs = calibration.lowUs + share * (calibration.highUs - calibration.lowUs);
        const deg = calibration.lowDeg + share * (calibration.highDeg - calibration.lowDeg);
        expect(Math.abs(calibration.toDeg(pulseUs) - lerpAt(pairs, 0, pulseUs))).toBeLessThan(1e-8);
        expect(Math.abs(calibration.toPulseUs(deg) - lerpAt(pairs, 1, deg))).toBeLessThan(1e-8);
      }),
      { numRuns: 2000 },
    );
  });

  test('round trip within one pulse step, both ways', () => {
    fc.assert(
      fc.property(
        points,
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.constantFrom(1, 2, 4, 5, 8, 10, 20_000 / 4096),
        (pairs, share, stepUs) => {
          const calibration = new Calibration(pairs);
          const { lowDeg, highDeg, lowUs, highUs } = calibration;
          fc.pre(Math.ceil(lowUs / stepUs) < Math.floor(highUs / stepUs));
          const bounds = new PulseBounds(calibration, [lowDeg, highDeg], [lowUs, highUs], stepUs);
          // angle -> pulse step -> angle: off by no more than the angle of one step there
          const deg = lowDeg + share * (highDeg - lowDeg);
          const sent = bounds.pulseUs(deg);
          expect(Math.abs(calibration.toPulseUs(calibration.toDeg(sent)) - sent)).toBeLessThan(
            1e-8,
          );
          expect(Math.abs(sent - calibration.toPulseUs(deg))).toBeLessThanOrEqual(stepUs + 1e-8);
          // pulse step -> angle -> pulse step: the same again
          const steps = Math.round((bounds.highUs - bounds.lowUs) / stepUs);
          const whole = bounds.lowUs + Math.round(share * steps) * stepUs;
          expect(bounds.pulseUs(calibration.toDeg(whole))).toBeCloseTo(whole, 8);
        },
      ),
      { numRuns: 2000 },
    );
  });

  test.each([
    [[[1000, 0]], /1 point\(s\).*at least 2/],
    [[], /0 point/],
    [
      [
        [1000, 0],
        [Number.NaN, 5],
      ],
      /point 2 \[NaN, 5\]/,
    ],
    [
      [
        [1000, 0],
        [1500, Number.POSITIVE_INFINITY],
      ],
      /point 2 \[1500, Infinity\]/,
    ],
    [
      [
        [1000, 0],
        [1000, 5],
      ],
      /point 2 \[1000, 5\]: the pulse/,
    ],
    [
      [
        [1000, 0],
        [1500, 0],
      ],
      /point 2 \[1500, 0\]: the angle/,
    ],
    [
      [
        [1000, 0],
        [1500, 5],
        [1400, 9],
      ],
      /point 3 \[1400, 9\]: the pulse must go on rising/,
    ],
    [
      [
        [1000, 0],
        [1500, -5],
        [2000, -4],
      ],
      /point 3 \[2000, -4\]: the angle must go on falling/,
    ],
    [
      [
        [2000, 0],
        [1500, 5],
        [1600, 9],
      ],
      /point 3 \[1600, 9\]: the pulse must go on falling/,
    ],
  ] as [CalibrationPoint[], RegExp][])('refuses %j', (bad, message) => {
    expect(() => new Calibration(bad)).toThrow(RangeError);
    expect(() => new Calibration(bad)).toThrow(message);
  });
});

describe('PulseBounds', () => {
  const calibration = new Calibration([
    [1000, -45],
    [2000, 45],
  ]);

  test('worked by hand: rounds to the nearest step, inwards at the limits', () => {
    // -5 deg is 1444.4 us, 35 deg is 1888.9 us
    const bounds = new PulseBounds(calibration, [-5, 35], [900, 2100], 5);
    expect([bounds.lowUs, bounds.highUs]).toEqual([1445, 1885]);
    expect(bounds.pulseUs(0)).toBe(1500);
    expect(bounds.pulseUs(0.2)).toBe(1500);
    expect(bounds.pulseUs(0.3)).toBe(1505);
    expect(bounds.pulseUs(-5)).toBe(1445);
    expect(bounds.pulseUs(35)).toBe(1885);
    expect(bounds.pulseUs(1e308)).toBe(1885);
  });

  test('the envelope holds where it is narrower than the limits', () => {
    const bounds = new PulseBounds(calibration, [-45, 45], [1102, 1898], 10);
    expect([bounds.lowUs, bounds.highUs]).toEqual([1110, 1890]);
  });

  test('a limit that is a whole step stays reachable in spite of float noise', () => {
    const noisy = new Calibration([
      [1000, 0],
      [2000, 0.3],
    ]);
    // 0.1 / 0.3 * 1000 and 0.1 + 0.2 are not exact in binary
    const bounds = new PulseBounds(noisy, [0.03, 0.1 + 0.2], [900, 2100], 1);
    expect([bounds.lowUs, bounds.highUs]).toEqual([1100, 2000]);
  });

  test('never leaves the limits nor the envelope, and is the nearest step that does not', () => {
    fc.assert(
      fc.property(
        points,
        fc.tuple(
          fc.double({ min: 0, max: 1, noNaN: true }),
          fc.double({ min: 0, max: 1, noNaN: true }),
        ),
        fc.double({ min: -0.2, max: 1.2, noNaN: true }),
        fc.constantFrom(1, 5, 10, 20_000 / 4096),
        (pairs, ends, share, stepUs) => {
          const own = new Calibration(pairs);
          const span = own.highDeg - own.lowDeg;
          const low = own.lowDeg + Math.min(...ends) * span;
          const high = own.lowDeg + Math.max(...ends) * span;
          const envelope = [own.lowUs + 7, own.highUs - 3] as const;
          const allowed: number[] = [];
          for (let n = Math.floor(own.lowUs / stepUs); n * stepUs <= own.highUs + stepUs; n++) {
            const us = n * stepUs;
            const deg = own.toDeg(us);
            const inside = deg >= low - 1e-9 && deg <= high + 1e-9;
            if (inside && us >= envelope[0] - 1e-9 && us <= envelope[1] + 1e-9) allowed.push(us);
          }
          if (allowed.length === 0) {
            expect(() => new PulseBounds(own, [low, high], envelope, stepUs)).toThrow(RangeError);
            return;
          }
          const deg = own.lowDeg + share * span;
          const wanted = own.toPulseUs(deg);
          const got = new PulseBounds(own, [low, high], envelope, stepUs).pulseUs(deg);
          const best = Math.min(...allowed.map((us) => Math.abs(us - wanted)));
          expect(allowed.some((us) => Math.abs(us - got) < 1e-8)).toBe(true);
          expect(Math.abs(Math.abs(got - wanted) - best)).toBeLessThan(1e-8);
        },
      ),
      { numRuns: 1000 },
    );
  });

  test('refuses limits with no step between them, and a step that is none', () => {
    expect(() => new PulseBounds(calibration, [0.01, 0.02], [900, 2100], 5)).toThrow(
      /no multiple of the pulse step 5 us.*0.01 to 0.02 deg/,
    );
    expect(() => new PulseBounds(calibration, [-5, 35], [900, 2100], 0)).toThrow(/pulse step 0/);
  });
});
