import bezierEasing from 'bezier-easing';
import { describe, expect, test } from 'vitest';
import { isSmooth, parseEase } from '../../src/sums/ease.ts';
import fc from '../fast-check.ts';

const GRID = Array.from({ length: 2001 }, (_, i) => i / 2000);

/** Control points of the keywords: CSS Easing Functions Level 1, section 2.2 (from memory). */
const KEYWORDS: [string, [number, number, number, number]][] = [
  ['linear', [0, 0, 1, 1]],
  ['ease', [0.25, 0.1, 0.25, 1]],
  ['ease-in', [0.42, 0, 1, 1]],
  ['ease-out', [0, 0, 0.58, 1]],
  ['ease-in-out', [0.42, 0, 0.58, 1]],
];

/** Spread evenly; fc.double would give numbers next to 0 most of the time. */
const number = (min: number, max: number) =>
  fc.integer({ min: 0, max: 1e6 }).map((part) => min + ((max - min) * part) / 1e6);
const share = number(0, 1);
const css = (...points: number[]) => `cubic-bezier(${points.join(', ')})`;

describe('cubic Béziers agree with the npm package bezier-easing', () => {
  test.each(KEYWORDS)('%s', (keyword, points) => {
    const ease = parseEase(keyword)!;
    const reference = bezierEasing(...points);
    for (const p of GRID) expect(Math.abs(ease(p) - reference(p))).toBeLessThan(1e-12);
  });

  test('over a grid of control points', () => {
    let worst = 0;
    for (const x1 of [0, 0.05, 0.3, 0.6, 0.95])
      for (const x2 of [0.05, 0.4, 0.7, 1])
        for (const y1 of [-2, 0, 0.5, 1, 3])
          for (const y2 of [-2, 0, 0.5, 1, 3]) {
            const ease = parseEase(css(x1, y1, x2, y2))!;
            const reference = bezierEasing(x1, y1, x2, y2);
            for (const p of GRID) worst = Math.max(worst, Math.abs(ease(p) - reference(p)));
          }
    expect(worst).toBeLessThan(1e-9);
  });

  test('at any control points', () => {
    const y = number(-3, 4);
    fc.assert(
      fc.property(share, y, share, y, share, (x1, y1, x2, y2, p) => {
        const got = parseEase(css(x1, y1, x2, y2))!(p);
        const reference = bezierEasing(x1, y1, x2, y2);
        // The curve may be upright: then the least rounding of p goes a long way.
        const slack = 1e-7;
        const low = Math.min(reference(p - 1e-12), reference(p), reference(p + 1e-12));
        const high = Math.max(reference(p - 1e-12), reference(p), reference(p + 1e-12));
        expect(got).toBeGreaterThanOrEqual(low - slack);
        expect(got).toBeLessThanOrEqual(high + slack);
      }),
      { numRuns: 5000 },
    );
  });

  test('ends at 0 and 1, and never falls with y1 and y2 in 0..1', () => {
    fc.assert(
      fc.property(share, share, share, share, (x1, y1, x2, y2) => {
        const ease = parseEase(css(x1, y1, x2, y2))!;
        expect(ease(0)).toBe(0);
        expect(ease(1)).toBe(1);
        for (let i = 1; i <= 100; i++)
          expect(ease(i / 100)).toBeGreaterThanOrEqual(ease((i - 1) / 100) - 1e-12);
      }),
      { numRuns: 500 },
    );
  });
});

describe('steps', () => {
  /**
   * The algorithm of CSS Easing Functions Level 1, section 2.3.2, without the before flag (from
   * memory), step by step as it is written there.
   */
  function reference(count: number, position: string, progress: number): number {
    let current = Math.floor(progress * count);
    if (['jump-start', 'start', 'jump-both'].includes(position)) current += 1;
    if (progress >= 0 && current < 0) current = 0;
    let jumps = count;
    if (position === 'jump-none') jumps = count - 1;
    if (position === 'jump-both') jumps = count + 1;
    if (progress <= 1 && current > jumps) current = jumps;
    return current / jumps;
  }

  test.each(['jump-start', 'jump-end', 'jump-none', 'jump-both', 'start', 'end'])('%s', (where) => {
    for (let count = where === 'jump-none' ? 2 : 1; count <= 12; count++) {
      const ease = parseEase(`steps(${count}, ${where})`)!;
      for (const p of GRID) expect(ease(p)).toBe(reference(count, where, p));
    }
  });

  // Read off the figures of the specification's section 2.3.1 (from memory): at 0, in the middle of
  // each third, and at 1.
  test.each([
    ['steps(3, jump-start)', [1 / 3, 1 / 3, 2 / 3, 1, 1]],
    ['steps(3, jump-end)', [0, 0, 1 / 3, 2 / 3, 1]],
    ['steps(3)', [0, 0, 1 / 3, 2 / 3, 1]],
    ['steps(3, jump-none)', [0, 0, 1 / 2, 1, 1]],
    ['steps(3, jump-both)', [1 / 4, 1 / 4, 2 / 4, 3 / 4, 1]],
    ['step-start', [1, 1, 1, 1, 1]],
    ['step-end', [0, 0, 0, 0, 1]],
  ])('%s', (text, expected) => {
    expect([0, 1 / 6, 3 / 6, 5 / 6, 1].map(parseEase(text)!)).toEqual(expected);
  });
});

// CSS Easing Functions Level 2, section "linear easing function", and the web platform's own tests of
// it (css-easing/linear-timing-functions-output; both from memory). tests/browser/easing.test.ts asks a browser.
describe('linear() with stops', () => {
  test.each<[string, readonly (readonly [at: number, output: number])[]]>([
    [
      'linear(0, 1)',
      [
        [0.3, 0.3],
        [1, 1],
      ],
    ],
    [
      'linear(0, 0.5, 1)',
      [
        [0.25, 0.25],
        [0.5, 0.5],
      ],
    ],
    // Stops without a percentage are spread between those that have one.
    [
      'linear(0, 0.7 40%, 1)',
      [
        [0.2, 0.35],
        [0.4, 0.7],
        [0.7, 0.85],
      ],
    ],
    [
      'linear(0, 1 20%, 0.5, 0.2, 1 80%, 1)',
      [
        [0.2, 1],
        [0.4, 0.5],
        [0.6, 0.2],
        [0.7, 0.6],
        [0.9, 1],
      ],
    ],
    // Two percentages: it stands still between them; before or after the number.
    [
      'linear(0, 0.5 25% 75%, 1)',
      [
        [0.125, 0.25],
        [0.25, 0.5],
        [0.6, 0.5],
        [0.875, 0.75],
      ],
    ],
    [
      'linear(0, 25% 75% 0.5, 1)',
      [
        [0.125, 0.25],
        [0.6, 0.5],
      ],
    ],
    // An input below the one before it counts as that: a jump, which has been taken at its place.
    [
      'linear(0, 0.2 50%, 0.8 30%, 1)',
      [
        [0.25, 0.1],
        [0.5, 0.8],
        [0.75, 0.9],
      ],
    ],
    // Beyond the first and the last stop it goes on straight.
    [
      'linear(0.5 50%, 1)',
      [
        [0, 0],
        [0.25, 0.25],
        [1, 1],
      ],
    ],
    [
      'linear(0, 0.5 25%, 0.5 50%)',
      [
        [0.125, 0.25],
        [0.4, 0.5],
        [1, 0.5],
      ],
    ],
    [
      'linear(-1e0 -100%, +1 100%)',
      [
        [0, 0],
        [0.5, 0.5],
      ],
    ],
    ['LINEAR( 0 , .25 , 1 )', [[0.5, 0.25]]],
  ])('%s', (text, wanted) => {
    const ease = parseEase(text)!;
    for (const [at, output] of wanted) expect(ease(at)).toBeCloseTo(output, 12);
  });

  test('with two stops on 0 and 1 it is linear, and the same text gives the same function', () => {
    for (const p of GRID) expect(parseEase('linear(0, 1)')!(p)).toBe(p);
    expect(parseEase('linear(0, .5 30%, 1)')).toBe(parseEase('linear(0,0.50 30%,1)'));
  });

  test('it is smooth without a jump, however steep it is', () => {
    expect(isSmooth('linear(0, 0.2 50%, 0.8 50.1%, 1)')).toBe(true);
    expect(isSmooth('linear(0, 0.2 50%, 0.2 50%, 1)')).toBe(true);
    expect(isSmooth('linear(0, 0.2 50%, 0.8 50%, 1)')).toBe(false);
    expect(isSmooth('linear(0, 0.2 50%, 0.8 30%, 1)')).toBe(false);
  });

  test.each([
    'linear()',
    'linear(0)',
    'linear(0, )',
    'linear(0 1)',
    'linear(0, 10%)',
    'linear(0, 1 10% 20% 30%)',
    'linear(0, 10% 1 20%)',
    'linear(0, 1 10)',
    'linear(0, 1 10 %)',
    'linear(0, 1.)',
    'linear(0, 1e999)',
    'linear (0, 1)',
    `linear(${Array(101).fill('0').join(', ')})`,
  ])('%s is not one', (text) => {
    expect(parseEase(text)).toBeUndefined();
    expect(isSmooth(text)).toBe(false);
  });
});

test('outside 0..1 the nearer end counts', () => {
  for (const text of ['linear', 'ease', 'cubic-bezier(0.2, -1, 0.8, 2)', 'steps(4)']) {
    const ease = parseEase(text)!;
    expect(ease(-0.5)).toBe(ease(0));
    expect(ease(1.5)).toBe(ease(1));
  }
});

// Syntax: CSS Easing Functions Level 1, section 2; CSS Values and Units Level 3, section 4.
describe('syntax', () => {
  test.each([
    ['EASE-In', 'ease-in'],
    [' linear ', 'linear'],
    ['cubic-bezier(.42,0,1.0,1e0)', 'ease-in'],
    ['Cubic-Bezier( +0.42 , -0 , 1 , 1 )', 'ease-in'],
    ['steps(4)', 'steps(4, jump-end)'],
    ['steps( +4 , END )', 'steps(4, jump-end)'],
    ['steps(4, start)', 'steps(4, jump-start)'],
  ])('%j is %j', (text, same) => {
    const ease = parseEase(text)!;
    const other = parseEase(same)!;
    for (const p of GRID) expect(ease(p)).toBe(other(p));
  });

  test.each([
    '',
    'eas',
    'ease in',
    'cubic-bezier (0, 0, 1, 1)',
    'cubic-bezier(0, 0, 1)',
    'cubic-bezier(0, 0, 1, 1, 1)',
    'cubic-bezier(-0.1, 0, 1, 1)',
    'cubic-bezier(0, 0, 1.1, 1)',
    'cubic-bezier(0, 1., 1, 1)',
    'cubic-bezier(0, 1e999, 1, 1)',
    'cubic-bezier(0 0 1 1)',
    'steps()',
    'steps(0)',
    'steps(-2)',
    'steps(2.5)',
    'steps(1, jump-none)',
    'steps(3, middle)',
    'steps(3,)',
    'steps(99999999999999999999)',
    'linear; ease',
  ])('%j is not an easing function', (text) => {
    expect(parseEase(text)).toBeUndefined();
    expect(isSmooth(text)).toBe(false);
  });

  test('what has steps is not smooth', () => {
    for (const text of ['linear', 'ease', 'Ease-Out', ' cubic-bezier(0, 1, 1, 0)'])
      expect(isSmooth(text)).toBe(true);
    for (const text of ['step-start', ' Step-End', 'steps(3)', 'STEPS(3, start)'])
      expect(isSmooth(text)).toBe(false);
  });
});
