import { describe, expect, test } from 'vitest';
import { resample } from '../../src/sums/resample.ts';

const sine = (rateHz: number, hz: number, seconds: number) =>
  Float32Array.from({ length: rateHz * seconds }, (_, i) =>
    Math.sin((2 * Math.PI * hz * i) / rateHz),
  );

/** The largest difference away from the ends, where the filter has samples on both sides. */
function worst(a: Float32Array, b: Float32Array): number {
  let worst = 0;
  for (let i = 200; i < a.length - 200; i++) worst = Math.max(worst, Math.abs(a[i]! - b[i]!));
  return worst;
}

describe('at another rate', () => {
  // A pure tone is known at every rate: that is the reference.
  test.each([
    [44_100, 48_000, 1000],
    [22_050, 48_000, 3000],
    [96_000, 48_000, 10_000],
    [8000, 48_000, 440],
  ])('%d to %d Hz, a tone of %d Hz is the same tone', (from, to, hz) => {
    const made = resample(sine(from, hz, 0.5), from, to);
    expect(made.length).toBe(to / 2);
    expect(worst(made, sine(to, hz, 0.5))).toBeLessThan(0.002);
  });

  test('what the lower rate cannot carry is gone', () => {
    const made = resample(sine(96_000, 30_000, 0.5), 96_000, 48_000);
    expect(worst(made, new Float32Array(made.length))).toBeLessThan(0.002);
  });
});
