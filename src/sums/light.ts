import {
  type Color,
  converter,
  modeA98,
  modeHsl,
  modeHwb,
  modeLab,
  modeLch,
  modeLrgb,
  modeOklab,
  modeOklch,
  modeP3,
  modeProphoto,
  modeRec2020,
  modeRgb,
  modeXyz50,
  modeXyz65,
  parse,
  type Rec2020,
  toGamut,
  useMode,
  type Xyz65,
} from 'culori/fn';
import { clamp } from '../shared/units.ts';

/** A colour in sRGB (IEC 61966-2-1), gamma-encoded, each component 0..1. */
export interface Rgb {
  red: number;
  green: number;
  blue: number;
}

/** A colour that is written often. A class keeps one object shape, so its numbers are stored unboxed. */
export class Colour implements Rgb {
  red = 0;
  green = 0;
  blue = 0;
}

// Only the colour spaces of CSS Color 4: every mode registers its own syntax.
useMode(modeRgb);
useMode(modeLrgb);
useMode(modeHsl);
useMode(modeHwb);
useMode(modeLab);
useMode(modeLch);
useMode(modeOklab);
useMode(modeOklch);
useMode(modeP3);
useMode(modeA98);
useMode(modeProphoto);
useMode(modeRec2020);
useMode(modeXyz50);
useMode(modeXyz65);
const toRgb = converter('rgb');
const mapToSrgb = toGamut('rgb', 'oklch');

/**
 * `rec2020` as CSS Color 4 defines it at present (section 10.8, from memory): for display, with the
 * exponent of 2.4 of ITU-R BT.1886. Earlier drafts, and the library, use the camera's curve of BT.2020.
 * The matrix is that of its section 18.
 */
function rec2020ToXyz({ r = 0, g = 0, b = 0, alpha }: Rec2020): Xyz65 {
  const [red, green, blue] = [r, g, b].map((v) => Math.sign(v) * Math.abs(v) ** 2.4) as [
    number,
    number,
    number,
  ];
  return {
    mode: 'xyz65',
    x: 0.6369580483012914 * red + 0.14461690358620832 * green + 0.1688809751641721 * blue,
    y: 0.2627002120112671 * red + 0.6779980715188708 * green + 0.05930171646986196 * blue,
    z: 0.028072693049087428 * green + 1.060985057710791 * blue,
    ...(alpha !== undefined && { alpha }),
  };
}

/** The longest colour read (characters): the parser's time grows with the square of the length. */
const MAX_LENGTH = 128;
/** Rounding error of the conversions: a colour this close to the gamut counts as inside. */
const GAMUT_SLACK = 1e-6;

/**
 * Reads any absolute colour of CSS Color Module Level 4: hex, names, `transparent`, `rgb()`, `hsl()`,
 * `hwb()`, `lab()`, `lch()`, `oklab()`, `oklch()`, `color()`. Colours outside sRGB are mapped into it by
 * reducing the OKLCH chroma (CSS Color 4, section 13.2). Light adds nothing to a dark background, so a
 * colour with alpha is composited onto black. `none` components count as 0.
 * @returns undefined when the text is not such a colour.
 */
export function parseColour(text: string): Rgb | undefined {
  const source = text.trim().toLowerCase();
  // The parser takes hex digits without `#` as well; CSS does not.
  if (source.length > MAX_LENGTH || /^[0-9a-f]+$/.test(source)) return undefined;
  const read = parseOrNothing(source);
  if (!read) return undefined;
  const parsed = read.mode === 'rec2020' ? rec2020ToXyz(read) : read;
  if (parsed.mode === 'hsl' && parsed.s < 0) parsed.s = 0; // CSS Color 4, section 7
  const direct = toRgb(parsed);
  // rgb() is limited when it is read (CSS Color 4, section 5.1); color(srgb ...) is not.
  const limited = parsed.mode === 'rgb' && !source.startsWith('color(');
  const { r, g, b } = limited || isInSrgb(direct) ? direct : mapToSrgb(parsed);
  const alpha = parsed.alpha ?? 1;
  const colour = {
    red: clamp(r ?? 0, 0, 1) * alpha,
    green: clamp(g ?? 0, 0, 1) * alpha,
    blue: clamp(b ?? 0, 0, 1) * alpha,
  };
  // A component like 1e308 overflows in the conversions.
  return Number.isFinite(colour.red + colour.green + colour.blue) ? colour : undefined;
}

function parseOrNothing(source: string): Color | undefined {
  try {
    return parse(source);
  } catch {
    return undefined; // the parser throws on some unfinished text, for example `color(`
  }
}

function isInSrgb(c: { r?: number; g?: number; b?: number }): boolean {
  const inside = (v = 0) => v >= -GAMUT_SLACK && v <= 1 + GAMUT_SLACK;
  return inside(c.r) && inside(c.g) && inside(c.b);
}

/** The colour as `#rrggbb`, each component rounded to the nearest of 256 steps. */
export function formatColour(c: Readonly<Rgb>): string {
  return formatPacked(packColour(c));
}

/** The colour as a number of 24 bits, red highest, each component rounded to 256 steps. */
export function packColour(c: Readonly<Rgb>): number {
  return (byte(c.red) << 16) | (byte(c.green) << 8) | byte(c.blue);
}

/** A colour packed by `packColour`, as `#rrggbb`. */
export function formatPacked(packed: number): string {
  return `#${packed.toString(16).padStart(6, '0')}`;
}

function byte(component: number): number {
  return Math.round(clamp(component, 0, 1) * 255);
}

/** Linear light 0..1 of an sRGB-encoded component 0..1 (IEC 61966-2-1; CSS Color 4, section 10.2). */
export function srgbToLinear(c: number): number {
  return c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4;
}

/** The sRGB encoding 0..1 of a linear component 0..1 (IEC 61966-2-1; CSS Color 4, section 10.2). */
export function linearToSrgb(c: number): number {
  if (c <= 0.0031308) return c * 12.92;
  // 1 / 2.4 = 5/4 of a third; roots are several times as fast as `**`.
  const third = Math.cbrt(c);
  return 1.055 * third * Math.sqrt(Math.sqrt(third)) - 0.055;
}

// CIE 15:2004, section 8.2.1, with the exact fractions behind the rounded 0.008856 and 903.3.
const EPSILON = 216 / 24389;
const KAPPA = 24389 / 27;

/** A lightness that is written often, and its luminance: a `Colour` of one component. */
export class Lightness {
  /** Perceived lightness 0..1 (L* / 100, CIE 1976; CIE 15). */
  lightness = 0;
  /** Relative luminance 0..1. */
  luminance = 0;

  /** Computes `luminance`. No fraction is returned, by a function within it either: so nothing is allocated. */
  work(): void {
    const lStar = 100 * this.lightness;
    const root = (lStar + 16) / 116;
    this.luminance = lStar <= KAPPA * EPSILON ? lStar / KAPPA : root * root * root;
  }
}

/** Relative luminance 0..1 of a perceived lightness 0..1 (L* / 100, CIE 1976; CIE 15). */
export function lightnessToLuminance(l: number): number {
  const of = new Lightness();
  of.lightness = l;
  of.work();
  return of.luminance;
}

/** Perceived lightness 0..1 (L* / 100, CIE 1976; CIE 15) of a relative luminance 0..1. */
export function luminanceToLightness(y: number): number {
  const lStar = y <= EPSILON ? KAPPA * y : 116 * Math.cbrt(y) - 16;
  return lStar / 100;
}

/** Relative luminance 0..1 of a colour (WCAG 2.2, definition of relative luminance). */
export function relativeLuminance(c: Readonly<Rgb>): number {
  writeLinear(c, linear);
  return luminanceOfLinear(linear);
}

/** Relative luminance 0..1 of linear light. */
export function luminanceOfLinear(light: Readonly<Rgb>): number {
  writeLuminance(light, luminance, 0);
  return luminance[0]!;
}

/** As `luminanceOfLinear`, written into an array: a fraction that is returned may be allocated. */
export function writeLuminance(light: Readonly<Rgb>, into: Float64Array, at: number): void {
  into[at] = 0.2126 * light.red + 0.7152 * light.green + 0.0722 * light.blue;
}

const luminance = new Float64Array(1);

/** Writes the linear light of an sRGB colour. */
export function writeLinear(colour: Readonly<Rgb>, into: Rgb): void {
  into.red = srgbToLinear(colour.red);
  into.green = srgbToLinear(colour.green);
  into.blue = srgbToLinear(colour.blue);
}

/** Writes the sRGB encoding of linear light. */
function writeSrgb(light: Readonly<Rgb>, into: Rgb): void {
  into.red = linearToSrgb(light.red);
  into.green = linearToSrgb(light.green);
  into.blue = linearToSrgb(light.blue);
}

const linear = new Colour();

/**
 * A perceptually even fade: linear in OKLab (CSS Color 4, section 12), limited to sRGB. One object serves
 * many fades; it allocates nothing.
 */
export class OklabFade {
  /** Progress of the fade, 0..1. */
  progress = 0;
  readonly #from = new Colour();
  readonly #to = new Colour();
  readonly #fromLinear = new Colour();
  readonly #toLinear = new Colour();
  readonly #fromLab = new Float64Array(3);
  readonly #toLab = new Float64Array(3);

  begin(from: Readonly<Rgb>, to: Readonly<Rgb>): void {
    copy(from, this.#from);
    copy(to, this.#to);
    writeLinear(from, this.#fromLinear);
    writeLinear(to, this.#toLinear);
    writeOklab(this.#fromLinear, this.#fromLab);
    writeOklab(this.#toLinear, this.#toLab);
  }

  /** Writes the colour at `progress`, limited to 0..1, and its linear light. */
  write(into: Rgb, light: Rgb): void {
    const t = this.progress;
    if (t <= 0 || t >= 1) {
      copy(t <= 0 ? this.#from : this.#to, into);
      copy(t <= 0 ? this.#fromLinear : this.#toLinear, light);
      return;
    }
    const from = this.#fromLab;
    const to = this.#toLab;
    const l = from[0]! + (to[0]! - from[0]!) * t;
    const a = from[1]! + (to[1]! - from[1]!) * t;
    const b = from[2]! + (to[2]! - from[2]!) * t;
    const longRoot = l + 0.3963377773761749 * a + 0.2158037573099136 * b;
    const mediumRoot = l - 0.1055613458156586 * a - 0.0638541728258133 * b;
    const shortRoot = l - 0.0894841775298119 * a - 1.2914855480194092 * b;
    const long = longRoot * longRoot * longRoot;
    const medium = mediumRoot * mediumRoot * mediumRoot;
    const short = shortRoot * shortRoot * shortRoot;
    const red =
      4.0767416360759574 * long - 3.3077115392580616 * medium + 0.2309699031821044 * short;
    const green =
      -1.2684379732850317 * long + 2.6097573492876887 * medium - 0.3413193760026573 * short;
    const blue =
      -0.0041960761386756 * long - 0.7034186179359362 * medium + 1.7076146940746117 * short;
    light.red = Math.min(Math.max(red, 0), 1);
    light.green = Math.min(Math.max(green, 0), 1);
    light.blue = Math.min(Math.max(blue, 0), 1);
    writeSrgb(light, into);
  }
}

function copy(from: Readonly<Rgb>, into: Rgb): void {
  into.red = from.red;
  into.green = from.green;
  into.blue = from.blue;
}

/**
 * OKLab (Ottosson, "A perceptual color space for image processing", 2020) of linear light. The
 * matrices are those of CSS Color 4, section 18, multiplied out for linear-light sRGB.
 */
function writeOklab(light: Readonly<Rgb>, into: Float64Array): void {
  const { red: r, green: g, blue: b } = light;
  const long = Math.cbrt(0.412221469470763 * r + 0.5363325372617348 * g + 0.0514459932675022 * b);
  const medium = Math.cbrt(
    0.2119034958178252 * r + 0.6806995506452344 * g + 0.1073969535369406 * b,
  );
  const short = Math.cbrt(0.0883024591900564 * r + 0.2817188391361215 * g + 0.6299787016738222 * b);
  into[0] = 0.210454268309314 * long + 0.7936177747023054 * medium - 0.0040720430116193 * short;
  into[1] = 1.9779985324311684 * long - 2.4285922420485799 * medium + 0.450593709617411 * short;
  into[2] = 0.0259040424655478 * long + 0.7827717124575296 * medium - 0.8086757549230774 * short;
}
