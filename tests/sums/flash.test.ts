import { converter } from 'culori';
import { describe, expect, test } from 'vitest';
import {
  ColourFlashGuard,
  FlashGuard,
  lightWeights,
  PropFlashGuard,
  RedFlashGuard,
  worstTogether,
} from '../../src/sums/flash.ts';
import { parseColour, type Rgb, relativeLuminance } from '../../src/sums/light.ts';
import fc from '../fast-check.ts';
import { WholeCounter } from '../faults/flash-counter.ts';
import { generalFlashes, redFlashes } from './flashes.ts';

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
    expect(generalFlashes(sampled(luminances))).toBe(flashes);
  });

  test('agrees with the definition taken at its word', () => {
    const samples = fc
      .array(fc.tuple(level, fc.integer({ min: 1, max: 40 })), { maxLength: 150 })
      .map((steps) => {
        let tick = 0;
        return steps.map(([luminance, ticks]) => {
          tick += ticks;
          return { tS: tick * TICK_S, luminance };
        });
      });
    fc.assert(
      fc.property(samples, (all) => {
        expect(generalFlashes(all)).toBe(Math.floor(longestRowInASecond(all) / 2));
      }),
      { numRuns: 1000 },
    );
  });
});

describe('FlashGuard', () => {
  test('whatever is asked for, no second has more than three flashes', () => {
    fc.assert(
      fc.property(show, (wanted) => {
        expect(generalFlashes(sampled(guarded(wanted).output))).toBeLessThanOrEqual(3);
      }),
      { numRuns: 500 },
    );
  });

  test('the same with a new random level in every tick', () => {
    fc.assert(
      fc.property(fc.array(level, { minLength: 400, maxLength: 800 }), (wanted) => {
        expect(generalFlashes(sampled(guarded(wanted).output))).toBeLessThanOrEqual(3);
      }),
      { numRuns: 200 },
    );
  });

  test.each([3.5, 4, 6, 10, 25, 100])('holds a %d Hz blink to three flashes', (hz) => {
    const { output, held } = guarded(square(hz, 0, 1, 10));
    expect(held).toBeGreaterThan(0);
    expect(generalFlashes(sampled(output))).toBe(3);
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

// WCAG 2.2, note 2 to the definition of general flash and red flash thresholds, after ISO 9241-391
// (from memory): a pair of opposing transitions of which one is to or from a state with
// R / (R + G + B) of 0.8 or more, where the states differ by more than 0.2 in the CIE 1976 UCS
// chromaticity diagram. u' = 4 X / (X + 15 Y + 3 Z), v' = 9 Y / (X + 15 Y + 3 Z) (CIE 15). X, Y and
// Z are those of the npm package culori.

type ColourSample = Rgb & { tS: number };
const toLinear = converter('lrgb');
const toXyz = converter('xyz65');

const colour = (text: string): Rgb => parseColour(text)!;
/** From linear components, so that shares are as they are written. */
const linear = (red: number, green: number, blue: number): Rgb =>
  colour(`color(srgb-linear ${red} ${green} ${blue})`);

function chromaticity({ red, green, blue }: Rgb): { red: boolean; u: number; v: number } {
  const rgb = { mode: 'rgb' as const, r: red, g: green, b: blue };
  const { r, g, b } = toLinear(rgb);
  const sum = r + g + b;
  const { x, y, z } = toXyz(sum > 0 ? rgb : { mode: 'rgb', r: 1, g: 1, b: 1 });
  const w = x + 15 * y + 3 * z;
  return { red: sum > 0 && r / sum >= 0.8, u: (4 * x) / w, v: (9 * y) / w };
}

/**
 * Whether two states are as far apart as makes a transition, but for what the reference's matrix
 * differs from the four digits of IEC 61966-2-1.
 */
function isBorderline(samples: readonly ColourSample[]): boolean {
  const states = samples.map(chromaticity);
  const isNear = (a: { u: number; v: number }, b: { u: number; v: number }) =>
    Math.abs(Math.hypot(a.u - b.u, a.v - b.v) - 0.2) < 5e-4;
  return states.some((a) => a.red && states.some((b) => !b.red && isNear(a, b)));
}

/** The longest row of opposing red transitions, by trying every pair of states for each. */
function longestRedRow(samples: readonly ColourSample[]): number {
  const states = samples.map(chromaticity);
  // best[i]: the longest row that has ended by state i, whose last transition was to red, or away.
  const toRed = new Array<number>(states.length).fill(0);
  const away = new Array<number>(states.length).fill(0);
  for (let i = 1; i < states.length; i++) {
    toRed[i] = toRed[i - 1]!;
    away[i] = away[i - 1]!;
    const b = states[i]!;
    for (let j = 0; j < i; j++) {
      const a = states[j]!;
      if (a.red === b.red || Math.hypot(a.u - b.u, a.v - b.v) <= 0.2) continue;
      if (b.red) toRed[i] = Math.max(toRed[i]!, away[j]! + 1);
      else away[i] = Math.max(away[i]!, toRed[j]! + 1);
    }
  }
  return Math.max(0, toRed.at(-1) ?? 0, away.at(-1) ?? 0);
}

function blink(hz: number, a: Rgb, b: Rgb, seconds = 4): ColourSample[] {
  return square(hz, 0, 1, seconds).map((on, i) => ({ ...(on ? b : a), tS: i * TICK_S }));
}

/** Spread evenly; fc.double would give numbers next to 0 most of the time. */
const part = fc.integer({ min: 0, max: 1000 }).map((share) => share / 1000);
const anyColour: fc.Arbitrary<Rgb> = fc.oneof(
  fc.record({ red: part, green: part, blue: part }),
  fc
    .tuple(part, part, part)
    .map(([r, g, b]) => linear(0.2 + 0.8 * r, (g * 0.25) / 2, (b * 0.25) / 2)),
  fc.constantFrom(...['red', 'black', 'blue', 'white', 'lime', 'maroon', 'cyan'].map(colour)),
);

describe('worstRedFlashes', () => {
  // Equal in luminance: 0.2126 R = 0.0722 B, so a red of 0.3 and a blue of 0.3 x 0.2126 / 0.0722.
  const evenRed = linear(0.3, 0, 0);
  const evenBlue = linear(0, 0, (0.3 * 0.2126) / 0.0722);

  test.each<[string, ColourSample[], number]>([
    ['red and blue, 3 Hz', blink(3, colour('red'), colour('blue')), 3],
    ['red and blue, 4 Hz', blink(4, colour('red'), colour('blue')), 4],
    ['red and blue of one luminance, 10 Hz', blink(10, evenRed, evenBlue), 10],
    ['red on black, 5 Hz', blink(5, colour('black'), colour('red')), 5],
    ['dim red on black, 5 Hz', blink(5, colour('black'), linear(0.05, 0, 0)), 5],
    ['red and white, 5 Hz', blink(5, colour('white'), colour('red')), 5],
    ['white on black', blink(10, colour('black'), colour('white')), 0],
    ['green and blue', blink(10, colour('lime'), colour('blue')), 0],
    ['red, darker and lighter', blink(10, linear(0.3, 0, 0), colour('red')), 0],
    ['red of a share below 0.8', blink(10, linear(0.79, 0, 0.21), colour('lime')), 0],
    ['red of a share above 0.8', blink(10, linear(0.81, 0, 0.19), colour('lime')), 10],
    ['red and an orange near to it', blink(10, colour('red'), linear(1, 0.3, 0)), 0],
    ['nothing', [], 0],
  ])('%s', (_name, samples, flashes) => {
    expect(redFlashes(samples)).toBe(flashes);
  });

  test('red and blue of one luminance are no general flash', () => {
    expect(relativeLuminance(evenRed)).toBeCloseTo(relativeLuminance(evenBlue), 6);
    const samples = blink(10, evenRed, evenBlue);
    const luminances = samples.map((s) => ({ tS: s.tS, luminance: relativeLuminance(s) }));
    expect(generalFlashes(luminances)).toBe(0);
  });

  test('agrees with the definition taken at its word', () => {
    const samples = fc
      .array(fc.tuple(anyColour, fc.integer({ min: 1, max: 20 })), { maxLength: 100 })
      .map((steps) => {
        let tick = 0;
        return steps.map(([one, ticks]) => {
          tick += ticks;
          return { ...one, tS: tick * TICK_S };
        });
      });
    let seen = 0;
    fc.assert(
      fc.property(samples, (all) => {
        fc.pre(!isBorderline(all));
        const row = Math.max(
          0,
          ...all.map(({ tS }) => longestRedRow(all.filter((s) => s.tS >= tS && s.tS <= tS + 1))),
        );
        seen = Math.max(seen, row);
        expect(redFlashes(all)).toBe(Math.floor(row / 2));
      }),
      { numRuns: 500 },
    );
    expect(seen).toBeGreaterThan(4);
  });
});

describe.each([
  ['RedFlashGuard', () => new RedFlashGuard()],
  ['ColourFlashGuard', () => new ColourFlashGuard()],
])('%s', (name, make) => {
  const guardedColours = (wanted: readonly Rgb[]) => {
    const guard = make();
    let shown: Rgb = { red: 0, green: 0, blue: 0 };
    let held = 0;
    const output = wanted.map((one, i) => {
      if (guard.admit(i * TICK_S, one)) shown = one;
      else held++;
      return { ...shown, tS: i * TICK_S };
    });
    return { output, held };
  };
  const general = (samples: readonly ColourSample[]) =>
    generalFlashes(samples.map((s) => ({ tS: s.tS, luminance: relativeLuminance(s) })));

  test('whatever is asked for, no second has more than three flashes', () => {
    let held = 0;
    fc.assert(
      fc.property(
        fc.array(fc.tuple(anyColour, fc.integer({ min: 1, max: 20 })), {
          minLength: 30,
          maxLength: 60,
        }),
        (steps) => {
          const wanted = steps.flatMap(([one, ticks]) => new Array<Rgb>(ticks).fill(one));
          const result = guardedColours(wanted);
          held += result.held;
          expect(redFlashes(result.output)).toBeLessThanOrEqual(3);
          if (name === 'ColourFlashGuard') expect(general(result.output)).toBeLessThanOrEqual(3);
        },
      ),
      { numRuns: 100 },
    );
    expect(held).toBeGreaterThan(0);
  });

  test('holds red and blue of one luminance to three flashes', () => {
    const { output, held } = guardedColours(
      blink(10, linear(0.3, 0, 0), linear(0, 0, (0.3 * 0.2126) / 0.0722)),
    );
    expect(held).toBeGreaterThan(0);
    expect(redFlashes(output)).toBe(3);
  });

  test.each<[string, ColourSample[]]>([
    ['red and blue at 2.5 Hz', blink(2.5, colour('red'), colour('blue'))],
    ['a flicker of red', blink(25, linear(0.3, 0, 0), linear(0.4, 0, 0))],
    ['a flicker of amber', blink(25, linear(0.5, 0.2, 0), linear(0.6, 0.2, 0))],
  ])('lets %s pass', (_name, wanted) => {
    expect(guardedColours(wanted)).toEqual({ output: wanted, held: 0 });
  });

  test('counts what could not be held back, and never lets NaN pass', () => {
    const guard = make();
    const red = colour('red');
    for (let i = 0; i < 5; i++)
      expect(guard.admit(i * 0.1, i % 2 === 0 ? red : colour('black'))).toBe(true);
    guard.force(0.5, colour('black'));
    expect(guard.admit(0.6, red)).toBe(false);
    expect(guard.admit(1.005, red)).toBe(true);
    expect(guard.admit(3, { red: Number.NaN, green: 0, blue: 0 })).toBe(false);
  });
});

// All light of a prop together: 10 % of the recent peak instead of the maximum, and any two colours
// more than 0.2 apart in u' v'. The counter takes the definition at its word, second by second.
describe('PropFlashGuard', () => {
  /** What comes out when linear light goes through, and the most flashes in it. */
  const together = (wanted: readonly (readonly number[])[]) => {
    const guard = new PropFlashGuard();
    const counter = new WholeCounter();
    let shown: readonly number[] = [0, 0, 0];
    let held = 0;
    const worst = { general: 0, colour: 0 };
    const output = wanted.map((light, i) => {
      guard.at.set([i * TICK_S, ...light]);
      if (guard.allows()) {
        guard.force();
        shown = light;
      } else held++;
      const [red, green, blue] = shown as [number, number, number];
      const now = counter.add(i * TICK_S, red, green, blue);
      worst.general = Math.max(worst.general, now.general);
      worst.colour = Math.max(worst.colour, now.colour);
      return shown;
    });
    return { output, held, worst };
  };
  const grey = (luminances: readonly number[]) => luminances.map((y) => [y, y, y]);

  test.each([
    ['full', 1],
    ['a tenth', 0.1],
    ['a lamp among a hundred, at 1 %', 1e-4],
  ])('holds a 25 Hz blink of %s to three flashes', (_name, peak) => {
    const { held, worst } = together(grey(square(25, 0, peak, 5)));
    expect(held).toBeGreaterThan(0);
    expect(worst.general).toBe(3);
  });

  test.each([
    ['a flicker of 9.9 % of the peak', grey(square(25, 0.901, 1, 5))],
    ['the same, dim', grey(square(25, 0.00901, 0.01, 5))],
    ['a blink of 2.4 Hz', grey(square(2.4, 0, 1, 5))],
    ['a slow fade', grey(triangle(0.3, 0, 0.05, 5))],
    [
      'amber to rose at 25 Hz, of one luminance',
      square(25, 0, 1, 5).map((on) => (on ? [0.5, 0.2, 0] : [0.55, 0.17, 0.15])),
    ],
  ])('lets %s pass', (_name, wanted) => {
    expect(together(wanted)).toMatchObject({ output: wanted, held: 0 });
  });

  test('holds a flicker of 10 % of the peak, however light', () => {
    expect(together(grey(square(25, 0.89, 1, 5))).held).toBeGreaterThan(0);
  });

  test('whatever is asked for, no second has more than three flashes of either kind', () => {
    const light = fc.oneof(
      fc.tuple(part, part, part),
      fc.tuple(part, part, part).map((all) => all.map((one) => one * 0.01)),
      fc.constantFrom(
        [1, 0, 0],
        [0, 0, 1],
        [0, 1, 0],
        [0, 0, 0],
        [1, 1, 1],
        [0.3, 0, 0],
        [0, 0, 0.88],
      ),
    );
    let worstGeneral = 0;
    let worstColour = 0;
    fc.assert(
      fc.property(
        fc.array(fc.tuple(light, fc.integer({ min: 1, max: 20 })), {
          minLength: 30,
          maxLength: 60,
        }),
        (steps) => {
          const { worst } = together(steps.flatMap(([one, ticks]) => new Array(ticks).fill(one)));
          worstGeneral = Math.max(worstGeneral, worst.general);
          worstColour = Math.max(worstColour, worst.colour);
          expect(worst.general).toBeLessThanOrEqual(3);
          expect(worst.colour).toBeLessThanOrEqual(3);
        },
      ),
      { numRuns: 60 },
    );
    expect([worstGeneral, worstColour]).toEqual([3, 3]);
  });

  test('leaves room for a light to go out that nothing can hold back', () => {
    const guard = new PropFlashGuard();
    const ask = (tS: number, y: number) => guard.at.set([tS, y, y, y]);
    for (let i = 0; i < 4; i++) {
      ask(i * 0.1, i % 2 ? 0 : 1);
      guard.force();
    }
    ask(0.4, 1);
    expect(guard.allows(true)).toBe(true);
    guard.force();
    ask(0.5, 0);
    expect(guard.allows(true)).toBe(true);
    guard.force();
    ask(0.6, 1);
    expect(guard.allows()).toBe(false);
    // The first change is more than a second ago, but one more after it would be too many.
    ask(1.05, 1);
    expect([guard.allows(), guard.allows(true)]).toEqual([true, false]);
  });

  test('never lets NaN pass', () => {
    const guard = new PropFlashGuard();
    guard.at[1] = Number.NaN;
    expect(guard.allows()).toBe(false);
  });

  test('worstTogether counts what nothing held back', () => {
    const light = grey(square(7, 0, 0.02, 4)).map((all) => all[0]!);
    const tS = light.map((_, i) => i * TICK_S);
    expect(worstTogether({ tS, red: light, green: light, blue: light })).toEqual({
      general: 7,
      colour: 0,
    });
  });
});

describe('lightWeights', () => {
  test.each<[string, Parameters<typeof lightWeights>[0], number[]]>([
    ['all alike', [undefined, undefined, undefined, undefined], [0.25, 0.25, 0.25, 0.25]],
    ['a share, the others alike', [{ share: 0.5 }, undefined, undefined], [0.5, 0.25, 0.25]],
    ['shares of less than 1', [{ share: 0.1 }, { share: 0.3 }], [0.25, 0.75]],
    ['lumens', [{ lumens: 300 }, { lumens: 100 }], [0.75, 0.25]],
    ['lumens of some', [{ lumens: 300 }, { lumens: 100 }, undefined], [0.5, 1 / 6, 1 / 3]],
    ['nothing', [], []],
  ])('%s', (_name, lights, weights) => {
    const given = [...lightWeights(lights)];
    expect(given).toHaveLength(weights.length);
    for (const [i, one] of given.entries()) expect(one).toBeCloseTo(weights[i]!, 12);
  });
});
