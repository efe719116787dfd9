import { converter, formatHex, interpolate, toGamut } from 'culori';
import { describe, expect, test } from 'vitest';
import {
  formatColour,
  lightnessToLuminance,
  linearToSrgb,
  luminanceToLightness,
  OklabFade,
  parseColour,
  type Rgb,
  relativeLuminance,
  srgbToLinear,
} from '../../src/sums/light.ts';
import fc from '../fast-check.ts';

const STEPS = 22;
/** 22 x 22 x 22 = 10,648 triples of 0..1, both ends included. */
const GRID: [number, number, number][] = [];
for (let i = 0; i < STEPS; i++)
  for (let j = 0; j < STEPS; j++)
    for (let k = 0; k < STEPS; k++) GRID.push([i / (STEPS - 1), j / (STEPS - 1), k / (STEPS - 1)]);

const rgb = (red: number, green: number, blue: number): Rgb => ({ red, green, blue });
const grey = (v: number) => rgb(v, v, v);
const hexOf = (text: string) => {
  const colour = parseColour(text);
  return colour && formatColour(colour);
};
function distance(a: Rgb, b: Rgb): number {
  return Math.max(Math.abs(a.red - b.red), Math.abs(a.green - b.green), Math.abs(a.blue - b.blue));
}

describe('parseColour', () => {
  // Examples of W3C CSS Color Module Level 4, sections 5 to 9 (from memory).
  test.each([
    ['#00ff00', '#00ff00'],
    ['#0f0', '#00ff00'],
    ['rebeccapurple', '#663399'],
    ['RED', '#ff0000'],
    ['  lime ', '#00ff00'],
    ['rgb(255 0 0)', '#ff0000'],
    ['rgb(100%, 0%, 0%)', '#ff0000'],
    ['RGB(0, 128, 0)', '#008000'],
    ['hsl(120deg 100% 50%)', '#00ff00'],
    ['hsl(120 75% 25%)', '#107010'],
    ['hwb(150 20% 10%)', '#33e68c'],
    ['hwb(45 40% 80%)', '#555555'],
    ['lab(29.2345% 39.3825 20.0664)', '#7d2329'],
    ['lch(52.2345% 72.2 56.2)', '#c65d06'],
    ['oklab(40.101% 0.1147 0.0453)', '#7d2329'],
    ['oklch(40.101% 0.12332 21.555)', '#7d2329'],
    ['color(srgb 0 1 0)', '#00ff00'],
    ['color(srgb-linear 1 1 1)', '#ffffff'],
    ['color(xyz-d65 0.95047 1 1.08883)', '#ffffff'],
    // Grey by the exponent of ITU-R BT.1886: 0.5^2.4 = 0.18946 of the light, by IEC 61966-2-1 #787878.
    ['color(rec2020 0.5 0.5 0.5)', '#787878'],
    ['color(rec2020 1 1 1)', '#ffffff'],
    ['color(rec2020 none none none)', '#000000'],
    ['transparent', '#000000'],
  ])('%s is %s', (text, hex) => {
    expect(hexOf(text)).toBe(hex);
  });

  test('a colour outside sRGB keeps its hue: display-p3 green', () => {
    // The CSS gamut mapping of the reference library Color.js gives
    // color(srgb 0 0.98576 0.15974) for this colour (from memory).
    const mapped = parseColour('color(display-p3 0 1 0)')!;
    expect(distance(mapped, rgb(0, 0.98576, 0.15974))).toBeLessThan(0.002);
  });

  test('rgb() is limited when it is read, color(srgb ...) is mapped (CSS Color 4, 5.1 and 13.2)', () => {
    expect(hexOf('rgb(300 128 -20)')).toBe('#ff8000');
    const mapped = parseColour('color(srgb 1.1765 0.50196 -0.0784)')!;
    const reference = toGamut('rgb', 'oklch')('color(srgb 1.1765 0.50196 -0.0784)')!;
    expect(distance(mapped, rgb(reference.r, reference.g, reference.b))).toBeLessThan(1e-9);
    expect(formatColour(mapped)).not.toBe('#ff8000');
  });

  test('alpha dims onto black; none is 0', () => {
    // Source-over compositing onto black (W3C Compositing 1, section 5): colour x alpha.
    expect(parseColour('rgb(255 127.5 0 / 50%)')).toEqual(rgb(0.5, 0.25, 0));
    expect(parseColour('#ffffff00')).toEqual(grey(0));
    expect(parseColour('rgb(none none 255)')).toEqual(rgb(0, 0, 1));
    expect(hexOf('oklch(none none none)')).toBe('#000000');
    expect(hexOf('hsl(120 -50% 50%)')).toBe('#808080');
  });

  test.each([
    '',
    'owl',
    'fff', // hex needs its #
    '123456',
    '#12345',
    'color(',
    'rgb(',
    'rgb(1 2)',
    'color(nowhere 1 1 1)',
    'currentcolor',
    'oklch(50% 1e308 20)',
    'color(xyz 1e308 0 0)',
    'color(srgb 1e999 0 0)',
    `rgb(${'1'.repeat(65_000)} 0 0)`,
  ])('%.40s is not a colour', (text) => {
    expect(parseColour(text)).toBeUndefined();
  });

  test('any text gives a colour in 0..1 or nothing', () => {
    const piece = fc.constantFrom(
      ...['rgb(', 'hsl(', 'oklch(', 'color(', 'lab(', 'srgb', 'xyz', 'none', '/', ',', ')', '#'],
      ...[' ', '-', '1e308', '1e-320', '50%', '.', '0.3', '999', 'deg', 'NaN', 'Infinity', 'ab'],
    );
    const text = fc.oneof(
      fc.string(),
      fc.array(piece).map((pieces) => pieces.join('')),
    );
    fc.assert(
      fc.property(text, (source) => {
        const colour = parseColour(source);
        for (const v of Object.values(colour ?? {})) {
          expect(v).toBeGreaterThanOrEqual(0);
          expect(v).toBeLessThanOrEqual(1);
        }
      }),
      { numRuns: 5000 },
    );
  });

  test('agrees with culori on 10,648 colours written as hex, and back', () => {
    for (const [r, g, b] of GRID) {
      const hex = formatHex({ mode: 'rgb', r, g, b });
      expect(formatColour(rgb(r, g, b))).toBe(hex);
      expect(hexOf(hex)).toBe(hex);
    }
  });

  test('agrees with culori on 10,648 colours in OKLCH, most of them outside sRGB', () => {
    const reference = toGamut('rgb', 'oklch');
    let worst = 0;
    for (const [l, c, h] of GRID) {
      const text = `oklch(${l * 100}% ${c * 0.4} ${h * 360})`;
      const expected = reference(text)!;
      const got = parseColour(text)!;
      worst = Math.max(worst, distance(got, rgb(expected.r, expected.g, expected.b)));
    }
    expect(worst).toBeLessThan(1e-5);
  });
});

/** One colour of a fade, written to `into`. */
function mixOklab(from: Rgb, to: Rgb, t: number, into: Rgb): void {
  const fade = new OklabFade();
  fade.begin(from, to);
  fade.progress = t;
  fade.write(into, grey(0));
}

describe('OklabFade', () => {
  test('agrees with culori on 10,648 pairs', () => {
    let worst = 0;
    const into = grey(0);
    GRID.forEach(([r, g, b], i) => {
      // A second colour and a time, far from the first and spread over the grid.
      const [r2, g2, b2] = GRID[(i * 7919 + 4001) % GRID.length]!;
      const t = ((i * 31) % 101) / 100;
      const mixed = interpolate(
        [
          { mode: 'rgb', r, g, b },
          { mode: 'rgb', r: r2, g: g2, b: b2 },
        ],
        'oklab',
      )(t);
      const expected = converter('rgb')(mixed);
      const limit = (v: number) => Math.min(1, Math.max(0, v));
      mixOklab(rgb(r, g, b), rgb(r2, g2, b2), t, into);
      worst = Math.max(
        worst,
        distance(into, rgb(limit(expected.r), limit(expected.g), limit(expected.b))),
      );
    });
    // culori takes greys for exactly grey; the published matrices leave a few 1e-8 in a and b,
    // and the sRGB curve multiplies that by 12.92 near black.
    expect(worst).toBeLessThan(1e-5);
  });

  test('half way from white to black is OKLab L 0.5: linear light 0.5^3', () => {
    // Ottosson 2020: for greys L is the cube root of linear light.
    const into = grey(0);
    mixOklab(grey(1), grey(0), 0.5, into);
    expect(srgbToLinear(into.green)).toBeCloseTo(0.125, 6);
  });

  test('is exact at and past both ends, and may write onto an end', () => {
    const from = rgb(0.1, 0.7, 0.3);
    const to = rgb(0.9, 0, 0.2);
    const into = grey(0);
    for (const [t, end] of [
      [0, from],
      [-1, from],
      [1, to],
      [2, to],
    ] as const) {
      mixOklab(from, to, t, into);
      expect(into).toEqual(end);
    }
    mixOklab(from, to, 0.4, into);
    mixOklab(from, to, 0.4, from);
    expect(from).toEqual(into);
  });

  test('stays inside sRGB where the straight line in OKLab leaves it', () => {
    const into = grey(0);
    fc.assert(
      fc.property(
        fc.array(fc.double({ min: 0, max: 1, noNaN: true }), { minLength: 7, maxLength: 7 }),
        ([r, g, b, r2, g2, b2, t]) => {
          mixOklab(rgb(r!, g!, b!), rgb(r2!, g2!, b2!), t!, into);
          for (const v of Object.values(into)) {
            expect(v).toBeGreaterThanOrEqual(0);
            expect(v).toBeLessThanOrEqual(1);
          }
        },
      ),
      { numRuns: 5000 },
    );
  });
});

describe('lightness and luminance', () => {
  test('CIE 15: L* of known luminances', () => {
    // L* 50 is Y 0.18419 and an 18 % grey card is L* 49.5 (CIE 15; from memory).
    expect(lightnessToLuminance(0.5)).toBeCloseTo(0.184187, 6);
    expect(luminanceToLightness(0.18)).toBeCloseTo(0.49496, 5);
    // The two branches meet at L* 8, Y 216/24389 = 0.008856 (CIE 15 prints 0.008856 and 903.3).
    expect(lightnessToLuminance(0.08)).toBeCloseTo(0.008856, 6);
    expect(luminanceToLightness(0.001)).toBeCloseTo(0.009033, 6);
    expect(lightnessToLuminance(0)).toBe(0);
    expect(lightnessToLuminance(1)).toBe(1);
  });

  test('agrees with culori, which has L* by way of CIELAB', () => {
    // A grey of CIELAB is L* and nothing else, so its linear sRGB component is Y.
    const toLinear = converter('lrgb');
    for (let i = 0; i <= 1000; i++) {
      const l = i / 1000;
      const y = toLinear({ mode: 'lab65', l: 100 * l, a: 0, b: 0 }).g;
      expect(Math.abs(lightnessToLuminance(l) - y)).toBeLessThan(1e-6);
      expect(luminanceToLightness(lightnessToLuminance(l))).toBeCloseTo(l, 12);
    }
  });

  test('sRGB transfer curve: IEC 61966-2-1', () => {
    // 50 % encoded is 21.404 % linear; both branches meet at 0.04045 (from memory).
    expect(srgbToLinear(0.5)).toBeCloseTo(0.21404, 5);
    expect(srgbToLinear(0.04045)).toBeCloseTo(0.0031308, 7);
    for (let i = 0; i <= 1000; i++)
      expect(linearToSrgb(srgbToLinear(i / 1000))).toBeCloseTo(i / 1000, 7);
  });

  test('WCAG 2.2 relative luminance and the contrasts that follow from it', () => {
    const luminance = (text: string) => relativeLuminance(parseColour(text)!);
    expect(luminance('#ff0000')).toBeCloseTo(0.2126, 10);
    expect(luminance('#00ff00')).toBeCloseTo(0.7152, 10);
    expect(luminance('#0000ff')).toBeCloseTo(0.0722, 10);
    // Contrast (L1 + 0.05) / (L2 + 0.05): black on white 21:1; #767676 on white 4.54:1 is the
    // lightest grey that passes 4.5:1, #777777 has 4.48:1 (published widely; from memory).
    const onWhite = (text: string) => 1.05 / (luminance(text) + 0.05);
    expect(onWhite('black')).toBeCloseTo(21, 10);
    expect(onWhite('#767676')).toBeCloseTo(4.54, 2);
    expect(onWhite('#777777')).toBeCloseTo(4.48, 2);
  });
});
