import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { FlashGuard, worstFlashes } from '../../src/sums/flash.ts';

// Limits: WCAG 2.2, success criterion 2.3.1 and the definition of general flash: no more than three
// in any one second; each is a pair of opposing changes of 10 % or more of the maximum relative
// luminance where the darker state is below 0.80.

interface Sample {
  tS: number;
  luminance: number;
}
const TICK_S = 0.005;

/** Samples at 5 ms ticks. */
function sampled(luminances: readonly number[]): Sample[] {
  return luminances.map((luminance, i) => ({ tS: i * TICK_S, luminance }));
}

function square(hz: number, low: number, high: number, seconds: number): number[] {
  return Array.from({ length: Math.round(seconds / TICK_S) }, (_, i) =>
    Math.floor(2 * hz * i * TICK_S + 1e-9) % 2 === 0 ? low : high,
  );
}

function triangle(hz: number, low: number, high: number, seconds: number): number[] {
  return Array.from({ length: Math.round(seconds / TICK_S) }, (_, i) => {
    const phase = (hz * i * TICK_S) % 1;
    return low + (high - low) * (phase < 0.5 ? 2 * phase : 2 - 2 * phase);
  });
}

/** What comes out when `wanted` goes through a guard, and in how many ticks it held. */
function guarded(wanted: readonly number[]): { output: number[]; held: number } {
  const guard = new FlashGuard();
  let held = 0;
  let shown = 0;
  const output = wanted.map((luminance, i) => {
    if (guard.admit(i * TICK_S, luminance)) shown = luminance;
    else held++;
    return shown;
  });
  return { output, held };
}

/**
 * The longest row of opposing changes among the samples, by trying every choice of turning points:
 * the definition taken at its word, O(n^2), with nothing in common with the code under test.
 */
function longestRow(samples: readonly Sample[]): number {
  const opposes = (from: number, to: number) =>
    Math.abs(to - from) >= 0.1 - 1e-9 && Math.min(from, to) < 0.8;
  const up = new Array<number>(samples.length).fill(0);
  const down = new Array<number>(samples.length).fill(0);
  for (let i = 0; i < samples.length; i++)
    for (let j = 0; j < i; j++) {
      const from = samples[j]!.luminance;
      const to = samples[i]!.luminance;
      if (!opposes(from, to)) continue;
      if (to > from) up[i] = Math.max(up[i]!, down[j]! + 1);
      else down[i] = Math.max(down[i]!, up[j]! + 1);
    }
  return Math.max(0, ...up, ...down);
}

/** The longest row within any window of a second that begins at a sample. */
function longestRowInASecond(samples: readonly Sample[]): number {
  return Math.max(
    0,
    ...samples.map(({ tS }) =>
      longestRow(samples.filter((other) => other.tS >= tS && other.tS <= tS + 1)),
    ),
  );
}

/** Levels that lie at and around both thresholds. */
const level = fc.oneof(
  fc.double({ min: 0, max: 1, noNaN: true }),
  fc.constantFrom(0, 0.1, 0.2, 0.3, 0.7, 0.75, 0.79, 0.8, 0.85, 0.9, 1),
);

/** A show of steps, holds and fades of random length, in ticks. */
const show = fc
  .array(fc.record({ level, ticks: fc.integer({ min: 1, max: 60 }), fade: fc.boolean() }), {
    minLength: 1,
    maxLength: 60,
  })
  .map((parts) => {
    const wanted: number[] = [];
    let from = 0;
    for (const { level: to, ticks, fade } of parts) {
      for (let i = 1; i <= ticks; i++) wanted.push(fade ? from + ((to - from) * i) / ticks : to);
      from = to;
    }
    return wanted;
  });

describe('worstFlashes', () => {
  test.each([
    ['1 Hz', square(1, 0, 1, 5), 1],
    ['3 Hz', square(3, 0, 1, 5), 3],
    ['4 Hz', square(4, 0, 1, 5), 4],
    ['10 Hz', square(10, 0, 1, 5), 10],
    ['10 Hz, a change of just 10 %', square(10, 0.2, 0.3, 5), 10],
    ['10 Hz, a change below 10 %', square(10, 0.2, 0.299, 5), 0],
    ['10 Hz, darker state at 0.80', square(10, 0.8, 1, 5), 0],
    ['10 Hz, darker state below 0.80', square(10, 0.79, 1, 5), 10],
    ['10 Hz of fades in small steps', triangle(10, 0, 1, 5), 10],
    ['one slow fade up and down', triangle(0.2, 0, 1, 5), 0],
    ['a constant light', square(0, 1, 1, 2), 0],
    ['nothing', [], 0],
  ])('%s', (_name, luminances, flashes) => {
    expect(worstFlashes(sampled(luminances))).toBe(flashes);
  });

  test('agrees with the definition taken at its word', () => {
    const samples = fc
      .array(fc.tuple(level, fc.integer({ min: 1, max: 40 })), { maxLength: 40 })
      .map((steps) => {
        let tick = 0;
        return steps.map(([luminance, ticks]) => {
          tick += ticks;
          return { tS: tick * TICK_S, luminance };
        });
      });
    fc.assert(
      fc.property(samples, (all) => {
        expect(worstFlashes(all)).toBe(Math.floor(longestRowInASecond(all) / 2));
      }),
      { numRuns: 1000 },
    );
  });
});

describe('FlashGuard', () => {
  test('whatever is asked for, no second has more than three flashes', () => {
    fc.assert(
      fc.property(show, (wanted) => {
        expect(worstFlashes(sampled(guarded(wanted).output))).toBeLessThanOrEqual(3);
      }),
      { numRuns: 500 },
    );
  });

  test('the same with a new random level in every tick', () => {
    fc.assert(
      fc.property(fc.array(level, { minLength: 400, maxLength: 800 }), (wanted) => {
        expect(worstFlashes(sampled(guarded(wanted).output))).toBeLessThanOrEqual(3);
      }),
      { numRuns: 200 },
    );
  });

  test.each([3.5, 4, 6, 10, 25, 100])('holds a %d Hz blink to three flashes', (hz) => {
    const { output, held } = guarded(square(hz, 0, 1, 10));
    expect(held).toBeGreaterThan(0);
    expect(worstFlashes(sampled(output))).toBe(3);
    const rises = output.filter((v, i) => v > (output[i - 1] ?? 0)).length;
    expect(rises).toBeLessThanOrEqual(3 * 10);
    expect(rises).toBeGreaterThan(2 * 10);
  });

  test.each([
    ['a blink of 1 Hz', square(1, 0, 1, 10)],
    ['a blink of 2.5 Hz', square(2.5, 0, 1, 10)],
    ['fades of 2.5 Hz', triangle(2.5, 0, 1, 10)],
    ['a slow fade', triangle(0.1, 0, 1, 10)],
    ['a flicker below 10 %', square(25, 0.5, 0.59, 10)],
    ['a flicker above 0.80', square(25, 0.8, 1, 10)],
  ])('lets %s pass', (_name, wanted) => {
    expect(guarded(wanted)).toEqual({ output: wanted, held: 0 });
  });

  test('holds only a change that would be the seventh within a second', () => {
    fc.assert(
      fc.property(show, (wanted) => {
        const guard = new FlashGuard();
        const output: Sample[] = [{ tS: 0, luminance: 0 }];
        let checked = 0;
        wanted.forEach((luminance, i) => {
          const sample = { tS: i * TICK_S, luminance };
          if (guard.admit(sample.tS, luminance)) output.push(sample);
          else if (checked++ < 5) {
            // A change may have begun before the window in which it came to count: by at most
            // 0.7 s in the shows that this seed gives.
            const recent = [...output, sample].filter((s) => s.tS >= sample.tS - 1.7);
            expect(longestRow(recent)).toBeGreaterThanOrEqual(7);
          }
        });
      }),
      { numRuns: 200, seed: 7420 },
    );
  });

  test('lets the held change pass once the first of the six is more than a second ago', () => {
    const guard = new FlashGuard();
    for (let i = 0; i < 6; i++) expect(guard.admit(i * 0.1, i % 2 === 0 ? 1 : 0)).toBe(true);
    expect(guard.admit(0.6, 1)).toBe(false);
    expect(guard.admit(0.6, 0.05)).toBe(true); // not a change that counts
    expect(guard.admit(1.0, 1)).toBe(false);
    expect(guard.admit(1.005, 1)).toBe(true);
  });

  test('counts what could not be held back', () => {
    const guard = new FlashGuard();
    for (let i = 0; i < 5; i++) guard.admit(i * 0.1, i % 2 === 0 ? 1 : 0);
    guard.force(0.5, 0);
    expect(guard.admit(0.6, 1)).toBe(false);
    expect(guard.admit(1.005, 1)).toBe(true);
  });

  test('never lets NaN pass', () => {
    expect(new FlashGuard().admit(0, Number.NaN)).toBe(false);
  });
});
