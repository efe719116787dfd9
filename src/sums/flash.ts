import { Colour, luminanceOfLinear, type Rgb, writeLinear, writeLuminance } from './light.ts';
import { mean } from './statistics.ts';

/**
 * General flashes (WCAG 2.2, definition of "general flash and red flash thresholds", success criterion
 * 2.3.1): a general flash is a pair of opposing changes in relative luminance of 10 % or more of the
 * maximum relative luminance (1.0), where the relative luminance of the darker state is below 0.80. The
 * size of the lit area is not considered: it counts as large.
 *
 * A change runs from one extremum to the next, however small its steps. It counts as soon as it reaches
 * 10 %.
 */
const DARKER_BELOW = 0.8;
/** 10 %, less the rounding error of a difference like 0.3 - 0.2. */
const CHANGE = 0.1 - 1e-9;

/** Whether a change between these luminances counts. */
function counts(darker: number, lighter: number): boolean {
  return lighter - darker >= CHANGE && darker < DARKER_BELOW;
}

/**
 * Red flashes (WCAG 2.2, the same definition, with its note 2 and ISO 9241-391; from memory): a pair of
 * opposing transitions of which one is to or from a state whose R / (R + G + B), of the linear
 * components, is 0.8 or more, and whose states differ by more than 0.2 in the CIE 1976 UCS chromaticity
 * diagram. Two such reds never differ by that much, so every transition is to or from saturated red.
 * Black has no chromaticity; it counts as white, so that red that goes on and off is a flash however dim
 * it is.
 */
const RED_SHARE = 0.8;
const RED_CHANGE = 0.2;
const BLACK: Readonly<Rgb> = new Colour();
/** The linear light of a colour that is being judged. */
const linear = new Colour();

function isSaturatedRed({ red, green, blue }: Readonly<Rgb>): boolean {
  const sum = red + green + blue;
  return sum > 0 && red >= RED_SHARE * sum;
}

/**
 * Writes u' and v' of linear light: CIE 1976 UCS (CIE 15:2004, section 8.2.2), of X, Y and Z by the
 * matrix of IEC 61966-2-1.
 */
function writeChromaticity(light: Readonly<Rgb>, into: Float64Array): void {
  let { red, green, blue } = light;
  if (red + green + blue <= 0) {
    red = 1;
    green = 1;
    blue = 1;
  }
  const x = 0.4124 * red + 0.3576 * green + 0.1805 * blue;
  const y = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
  const z = 0.0193 * red + 0.1192 * green + 0.9505 * blue;
  into[0] = (4 * x) / (x + 15 * y + 3 * z);
  into[1] = (9 * y) / (x + 15 * y + 3 * z);
}

/** `Math.hypot` allocates. */
function length(u: number, v: number): number {
  return Math.sqrt(u * u + v * v);
}

/** The times at which the last changes began to count, in a ring: one more may be too many. */
class Changes {
  readonly #windowS: number;
  readonly #timesS: Float64Array;
  #oldest = 0;

  constructor(maxFlashes: number, windowS: number) {
    this.#windowS = windowS;
    this.#timesS = new Float64Array(2 * maxFlashes).fill(Number.NEGATIVE_INFINITY);
  }

  /** @param at the time (s) is its first element: a number passed by value may be allocated */
  isFullAt(at: Float64Array): boolean {
    return at[0]! - this.#timesS[this.#oldest]! <= this.#windowS;
  }

  addAt(at: Float64Array): void {
    this.#timesS[this.#oldest] = at[0]!;
    this.#oldest = (this.#oldest + 1) % this.#timesS.length;
  }
}

/**
 * Keeps one light channel, dark at first, from flashing too often. It is stricter than the rule by
 * half a flash: no window holds more than `maxFlashes` rises or more than `maxFlashes` falls.
 */
export class FlashGuard {
  /** The output in question: the time (s), which never falls, and the luminance. */
  readonly at = new Float64Array(2);
  readonly #changes: Changes;
  /** Direction of the last change: 1 up, -1 down, 0 before the first. */
  #direction = 0;
  /** Extrema since the last change began to count; before the first, since the start. */
  #low = 0;
  #high = 0;

  /** @param maxFlashes 1 or more. @param windowS length of the window (s). */
  constructor(maxFlashes = 3, windowS = 1) {
    this.#changes = new Changes(maxFlashes, windowS);
  }

  /**
   * Asks to output `luminance` (relative, 0..1) at `tS`, which never falls from call to call. Allocates
   * nothing.
   * @returns true when it may be output, and it is then recorded as output; false when the old output
   * must be held, because this change would be one too many. Ask again later.
   */
  admit(tS: number, luminance: number): boolean {
    const allowed = this.allows(tS, luminance);
    if (allowed) this.force(tS, luminance);
    return allowed;
  }

  /** Whether `admit` would return true; records nothing. */
  allows(tS: number, luminance: number): boolean {
    this.at[0] = tS;
    this.at[1] = luminance;
    return this.allowsAt();
  }

  /** As `allows`, for what is in `at`. */
  allowsAt(): boolean {
    if (Number.isNaN(this.at[1]!)) return false;
    return this.#turn() === 0 || !this.#changes.isFullAt(this.at);
  }

  /** Records an output that nothing could hold back, for example the dark after a stop. */
  force(tS: number, luminance: number): void {
    this.at[0] = tS;
    this.at[1] = luminance;
    this.forceAt();
  }

  /** As `force`, for what is in `at`. */
  forceAt(): void {
    const luminance = this.at[1]!;
    const turn = this.#turn();
    if (turn !== 0) {
      this.#direction = turn;
      this.#low = luminance;
      this.#high = luminance;
      this.#changes.addAt(this.at);
    }
    this.#low = Math.min(this.#low, luminance);
    this.#high = Math.max(this.#high, luminance);
  }

  /** The direction of the change that begins to count; 0 when none does. */
  #turn(): number {
    const luminance = this.at[1]!;
    if (this.#direction !== 1 && counts(this.#low, luminance)) return 1;
    if (this.#direction !== -1 && counts(luminance, this.#high)) return -1;
    return 0;
  }
}

/**
 * Keeps one colour channel, dark at first, from red flashes as `FlashGuard` does from general ones. It
 * keeps the extent in u' and v' of the colours since the last change, and treats the farthest corner as
 * one of them, so it may see a change a little early, never late.
 */
export class RedFlashGuard {
  /** When something is asked about (s). */
  readonly at = new Float64Array(1);
  readonly #changes: Changes;
  /** Whether the last change was to saturated red. */
  #red = false;
  readonly #shown = new Float64Array(2);
  /** Extent since the last change: of saturated reds if that was to red, otherwise of the other colours. */
  #lowU = Number.POSITIVE_INFINITY;
  #highU = Number.NEGATIVE_INFINITY;
  #lowV = Number.POSITIVE_INFINITY;
  #highV = Number.NEGATIVE_INFINITY;

  /** @param maxFlashes 1 or more. @param windowS length of the window (s). */
  constructor(maxFlashes = 3, windowS = 1) {
    this.#changes = new Changes(maxFlashes, windowS);
    this.forceLinear(0, BLACK);
  }

  /** Asks to output `colour` (sRGB) at `tS`; as `FlashGuard.admit`. Allocates nothing. */
  admit(tS: number, colour: Readonly<Rgb>): boolean {
    writeLinear(colour, linear);
    const allowed = this.allowsLinear(tS, linear);
    if (allowed) this.forceLinear(tS, linear);
    return allowed;
  }

  /** Whether linear light would be admitted; records nothing. */
  allowsLinear(tS: number, light: Readonly<Rgb>): boolean {
    this.at[0] = tS;
    return this.allowsLinearAt(light);
  }

  /** As `allowsLinear`, at the time in `at`. */
  allowsLinearAt(light: Readonly<Rgb>): boolean {
    if (Number.isNaN(light.red + light.green + light.blue)) return false;
    return !this.#turnsAt(light) || !this.#changes.isFullAt(this.at);
  }

  /** Records an output that nothing could hold back. */
  force(tS: number, colour: Readonly<Rgb>): void {
    writeLinear(colour, linear);
    this.forceLinear(tS, linear);
  }

  /** As `force`, of linear light. */
  forceLinear(tS: number, light: Readonly<Rgb>): void {
    this.at[0] = tS;
    this.forceLinearAt(light);
  }

  /** As `forceLinear`, at the time in `at`. */
  forceLinearAt(light: Readonly<Rgb>): void {
    if (this.#turnsAt(light)) {
      this.#changes.addAt(this.at);
      this.#red = !this.#red;
      this.#lowU = Number.POSITIVE_INFINITY;
      this.#highU = Number.NEGATIVE_INFINITY;
      this.#lowV = Number.POSITIVE_INFINITY;
      this.#highV = Number.NEGATIVE_INFINITY;
    }
    if (isSaturatedRed(light) !== this.#red) return;
    writeChromaticity(light, this.#shown);
    const u = this.#shown[0]!;
    const v = this.#shown[1]!;
    this.#lowU = Math.min(this.#lowU, u);
    this.#highU = Math.max(this.#highU, u);
    this.#lowV = Math.min(this.#lowV, v);
    this.#highV = Math.max(this.#highV, v);
  }

  #turnsAt(light: Readonly<Rgb>): boolean {
    if (isSaturatedRed(light) === this.#red) return false;
    writeChromaticity(light, this.#shown);
    const u = this.#shown[0]!;
    const v = this.#shown[1]!;
    const farU = Math.max(u - this.#lowU, this.#highU - u);
    const farV = Math.max(v - this.#lowV, this.#highV - v);
    return length(farU, farV) > RED_CHANGE;
  }
}

/** Keeps one colour channel, dark at first, from general and from red flashes. */
export class ColourFlashGuard {
  /** When something is asked about (s). */
  readonly at = new Float64Array(1);
  readonly #general: FlashGuard;
  readonly #red: RedFlashGuard;

  /** @param maxFlashes of each, 1 or more. @param windowS length of the window (s). */
  constructor(maxFlashes = 3, windowS = 1) {
    this.#general = new FlashGuard(maxFlashes, windowS);
    this.#red = new RedFlashGuard(maxFlashes, windowS);
  }

  /** Asks to output `colour` (sRGB) at `tS`; as `FlashGuard.admit`. Allocates nothing. */
  admit(tS: number, colour: Readonly<Rgb>): boolean {
    writeLinear(colour, linear);
    return this.admitLinear(tS, linear);
  }

  /** As `admit`, of linear light. */
  admitLinear(tS: number, light: Readonly<Rgb>): boolean {
    const allowed = this.allowsLinear(tS, light);
    if (allowed) this.forceLinear(tS, light);
    return allowed;
  }

  /** Whether linear light would be admitted; records nothing. */
  allowsLinear(tS: number, light: Readonly<Rgb>): boolean {
    this.at[0] = tS;
    return this.allowsLinearAt(light);
  }

  /** As `allowsLinear`, at the time in `at`. */
  allowsLinearAt(light: Readonly<Rgb>): boolean {
    this.#put(light);
    return this.#general.allowsAt() && this.#red.allowsLinearAt(light);
  }

  /** As `forceLinear`, at the time in `at`. */
  forceLinearAt(light: Readonly<Rgb>): void {
    this.#put(light);
    this.#general.forceAt();
    this.#red.forceLinearAt(light);
  }

  #put(light: Readonly<Rgb>): void {
    this.#general.at[0] = this.at[0]!;
    writeLuminance(light, this.#general.at, 1);
    this.#red.at[0] = this.at[0]!;
  }

  /** As `force`, of linear light. */
  forceLinear(tS: number, light: Readonly<Rgb>): void {
    this.at[0] = tS;
    this.forceLinearAt(light);
  }

  /** Records an output that nothing could hold back. */
  force(tS: number, colour: Readonly<Rgb>): void {
    writeLinear(colour, linear);
    this.#general.force(tS, luminanceOfLinear(linear));
    this.#red.forceLinear(tS, linear);
  }
}

/**
 * All light of a prop together is judged more strictly than the light of a screen:
 *
 * - A general flash is a pair of opposing changes of 10 % or more of the lighter of the two states.
 *   A screen's 10 % are of its full white; in a dark room the eye adapts to a dim strobe. The change's own peak is the strictest, so whatever counts against any recent peak counts here. A change with a light darker state counts too: there, ITU-R BT.1702 counts a Michelson contrast of 1/17, 11 % of the lighter state (from memory).
 * - A colour flash is a pair of changes of more than 0.2 in the CIE 1976 UCS diagram, between any
 *   two colours. WCAG's red flash also needs a saturated red at one end; but alternating blue and green can cause seizures as well, if less often (Parra, Lopes da Silva, Stroink and
 *   Kalitzin, "Is colour modulation an independent factor in human visual photosensitivity?", Brain
 *   130, 2007; from memory). Every red flash is one of these.
 */
const PEAK_SHARE = 0.1 - 1e-9;
const COLOUR_CHANGE = 0.2;

function countsAgainstPeak(darker: number, lighter: number): boolean {
  return lighter > darker && lighter - darker >= PEAK_SHARE * lighter;
}

/** Indices of the numbers of `PropFlashGuard`: in an array a fraction is never allocated. */
const LOW = 0;
const HIGH = 1;
const LOW_U = 2;
const HIGH_U = 3;
const LOW_V = 4;
const HIGH_V = 5;

/**
 * Keeps all light of a prop together, dark at first, from flashing too often. It sees a change of
 * colour a little early, never late, as `RedFlashGuard` does. Allocates nothing.
 */
export class PropFlashGuard {
  /** The output in question: the time (s), which never falls, and linear red, green and blue. */
  readonly at = new Float64Array(4);
  readonly #maxChanges: number;
  readonly #windowS: number;
  readonly #general: Float64Array;
  readonly #colour: Float64Array;
  #generalOldest = 0;
  #colourOldest = 0;
  #direction = 0;
  readonly #seen = new Float64Array(6);
  readonly #uv = new Float64Array(2);
  readonly #luminance = new Float64Array(1);
  readonly #light = new Colour();

  /** @param maxFlashes of each kind, 1 or more. @param windowS length of the window (s). */
  constructor(maxFlashes = 3, windowS = 1) {
    this.#maxChanges = 2 * maxFlashes;
    this.#windowS = windowS;
    this.#general = new Float64Array(this.#maxChanges).fill(Number.NEGATIVE_INFINITY);
    this.#colour = new Float64Array(this.#maxChanges).fill(Number.NEGATIVE_INFINITY);
    this.#look();
    this.#beginColour();
  }

  /**
   * Whether the light in `at` may be shown; records nothing.
   * @param mayGoOut a light is on that may have to go out at any time: there must be room for that change
   * as well
   */
  allows(mayGoOut = false): boolean {
    if (Number.isNaN(this.at[1]! + this.at[2]! + this.at[3]!)) return false;
    this.#look();
    const turn = this.#turn();
    const rising = turn === 1 || (turn === 0 && this.#direction === 1);
    const general = (turn === 0 ? 0 : 1) + (mayGoOut && rising ? 1 : 0);
    const colour = (this.#differs() ? 1 : 0) + (mayGoOut ? 1 : 0);
    return (
      this.#hasRoom(this.#general, this.#generalOldest, general) &&
      this.#hasRoom(this.#colour, this.#colourOldest, colour)
    );
  }

  /** Whether there is room for this many more changes, up to 2. */
  #hasRoom(timesS: Float64Array, oldest: number, changes: number): boolean {
    if (changes === 0) return true;
    const last = (oldest + changes - 1) % this.#maxChanges;
    return timesS[last]! < this.at[0]! - this.#windowS;
  }

  /** Records the light in `at` as shown, allowed or not. */
  force(): void {
    this.#look();
    const seen = this.#seen;
    const luminance = this.#luminance[0]!;
    const turn = this.#turn();
    if (turn !== 0) {
      this.#direction = turn;
      seen[LOW] = luminance;
      seen[HIGH] = luminance;
      this.#general[this.#generalOldest] = this.at[0]!;
      this.#generalOldest = (this.#generalOldest + 1) % this.#maxChanges;
    } else if (luminance < seen[LOW]!) seen[LOW] = luminance;
    else if (luminance > seen[HIGH]!) seen[HIGH] = luminance;
    if (this.#differs()) {
      this.#beginColour();
      this.#colour[this.#colourOldest] = this.at[0]!;
      this.#colourOldest = (this.#colourOldest + 1) % this.#maxChanges;
      return;
    }
    const u = this.#uv[0]!;
    const v = this.#uv[1]!;
    if (u < seen[LOW_U]!) seen[LOW_U] = u;
    if (u > seen[HIGH_U]!) seen[HIGH_U] = u;
    if (v < seen[LOW_V]!) seen[LOW_V] = v;
    if (v > seen[HIGH_V]!) seen[HIGH_V] = v;
  }

  /** Continues from another guard, whose lights may have had other weights. */
  resume(other: PropFlashGuard): void {
    this.#general.set(other.#general);
    this.#colour.set(other.#colour);
    this.#generalOldest = other.#generalOldest;
    this.#colourOldest = other.#colourOldest;
    this.#direction = other.#direction;
    this.#seen.set(other.#seen);
  }

  /** General changes within one window before the time in `at`. */
  get generalChanges(): number {
    return this.#recent(this.#general, this.#generalOldest);
  }

  /** Colour changes, likewise. */
  get colourChanges(): number {
    return this.#recent(this.#colour, this.#colourOldest);
  }

  #recent(timesS: Float64Array, oldest: number): number {
    const sinceS = this.at[0]! - this.#windowS;
    const size = this.#maxChanges;
    let count = 0;
    while (count < size && timesS[(oldest + size - 1 - count) % size]! >= sinceS) count++;
    return count;
  }

  #look(): void {
    const light = this.#light;
    light.red = this.at[1]!;
    light.green = this.at[2]!;
    light.blue = this.at[3]!;
    writeChromaticity(light, this.#uv);
    writeLuminance(light, this.#luminance, 0);
  }

  /** The direction of the change that begins to count; 0 when none does. */
  #turn(): number {
    const luminance = this.#luminance[0]!;
    if (this.#direction !== 1 && countsAgainstPeak(this.#seen[LOW]!, luminance)) return 1;
    if (this.#direction !== -1 && countsAgainstPeak(luminance, this.#seen[HIGH]!)) return -1;
    return 0;
  }

  #differs(): boolean {
    const seen = this.#seen;
    const u = this.#uv[0]!;
    const v = this.#uv[1]!;
    const farU = Math.max(u - seen[LOW_U]!, seen[HIGH_U]! - u);
    const farV = Math.max(v - seen[LOW_V]!, seen[HIGH_V]! - v);
    return farU * farU + farV * farV > COLOUR_CHANGE * COLOUR_CHANGE;
  }

  #beginColour(): void {
    const seen = this.#seen;
    seen[LOW_U] = this.#uv[0]!;
    seen[HIGH_U] = this.#uv[0]!;
    seen[LOW_V] = this.#uv[1]!;
    seen[HIGH_V] = this.#uv[1]!;
  }
}

/** More flashes in a second than ever occur. */
const NO_LIMIT = 1000;

/** The most flashes of all light together in any second that ends at a sample; see `PropFlashGuard`. */
export function worstTogether(samples: LightSamples): { general: number; colour: number } {
  const guard = new PropFlashGuard(NO_LIMIT);
  let general = 0;
  let colour = 0;
  for (let i = 0; i < samples.tS.length; i++) {
    guard.at[0] = samples.tS[i]!;
    guard.at[1] = samples.red[i]!;
    guard.at[2] = samples.green[i]!;
    guard.at[3] = samples.blue[i]!;
    guard.force();
    general = Math.max(general, Math.floor(guard.generalChanges / 2));
    colour = Math.max(colour, Math.floor(guard.colourChanges / 2));
  }
  return { general, colour };
}

/** A light's weight as the file gives it: a share of all, or lumens. */
export interface LightWeight {
  share?: number | undefined;
  lumens?: number | undefined;
}

/**
 * The weight of each light; their sum is 1. By lumens where they are given, a light without them counting
 * as the mean of those that have them; otherwise by share, those without one dividing the rest equally.
 */
export function lightWeights(lights: readonly (LightWeight | undefined)[]): Float64Array {
  const lumens = lights.flatMap((light) => light?.lumens ?? []);
  const weights = new Float64Array(lights.length);
  if (lumens.length > 0) {
    const usual = mean(lumens);
    for (const [i, light] of lights.entries()) weights[i] = light?.lumens ?? usual;
  } else {
    const given = lights.reduce((sum, light) => sum + (light?.share ?? 0), 0);
    const others = lights.filter((light) => light?.share === undefined).length;
    const rest = Math.max(0, 1 - given) / Math.max(1, others);
    for (const [i, light] of lights.entries()) weights[i] = light?.share ?? rest;
  }
  const sum = weights.reduce((all, one) => all + one, 0);
  return weights.map((one) => one / sum);
}

/**
 * The most general flashes within any window of `windowS` (s), both ends included. Every window is judged
 * by itself, so a change that its start cuts counts by the part inside.
 * @param tS times of the samples (s), rising.
 * @param luminance relative luminance 0..1 from each time until the next.
 */
export function worstFlashes(
  tS: ArrayLike<number>,
  luminance: ArrayLike<number>,
  windowS = 1,
): number {
  const turns = turningPointsOf(luminance);
  return worstOf(tS, windowS, (start, end, worst) => {
    const first = firstAbove(turns, start);
    const last = firstAbove(turns, end - 1);
    // Between two turning points there is one change at most.
    if (Math.floor((last - first + 1) / 2) <= worst) return 0;
    const window = [start, ...turns.slice(first, last), end - 1];
    return Math.floor(opposingChanges(window.map((i) => luminance[i]!)) / 2);
  });
}

/** This many windows are first judged as one long window. */
const BLOCK = 64;

/**
 * The largest number that `flashesIn` finds in any window of `windowS` (s) of samples at `tS`. It counts
 * flashes among the samples from `start` to before `end`, and may stop where there cannot be more than
 * `worst`. A longer window never holds fewer.
 */
function worstOf(
  tS: ArrayLike<number>,
  windowS: number,
  flashesIn: (start: number, end: number, worst: number) => number,
): number {
  let worst = 0;
  let end = 0;
  for (let first = 0; first < tS.length; first += BLOCK) {
    const next = Math.min(first + BLOCK, tS.length);
    let endOfAll = end;
    while (endOfAll < tS.length && tS[endOfAll]! <= tS[next - 1]! + windowS) endOfAll++;
    if (flashesIn(first, endOfAll, worst) > worst)
      for (let start = first; start < next; start++) {
        while (end < tS.length && tS[end]! <= tS[start]! + windowS) end++;
        worst = Math.max(worst, flashesIn(start, end, worst));
      }
    end = endOfAll;
  }
  return worst;
}

/** Index of the first number above `value` in a rising list; the list's length if there is none. */
function firstAbove(list: ArrayLike<number>, value: number): number {
  let low = 0;
  let high = list.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if (list[middle]! > value) high = middle;
    else low = middle + 1;
  }
  return low;
}

/** Turning points of the luminance: between two of them it only rises, or only falls. */
function turningPointsOf(luminance: ArrayLike<number>): number[] {
  const turns: number[] = [];
  let direction = 0;
  for (let i = 1; i < luminance.length; i++) {
    const now = Math.sign(luminance[i]! - luminance[i - 1]!);
    if (now === 0) continue;
    if (now === -direction) turns.push(i - 1);
    direction = now;
  }
  return turns;
}

/** How many opposing changes follow one another. */
function opposingChanges(luminances: readonly number[]): number {
  // The longest alternating sequence of changes so far that ends upward, and downward.
  let changes = 0;
  let rising: boolean | undefined;
  let darkest = luminances[0]!;
  let lightest = darkest;
  for (const luminance of luminances) {
    const rise = rising !== true && counts(darkest, luminance);
    const fall = rising !== false && counts(luminance, lightest);
    if (rise || fall) {
      changes++;
      rising = rise;
      darkest = luminance;
      lightest = luminance;
    }
    darkest = Math.min(darkest, luminance);
    lightest = Math.max(lightest, luminance);
  }
  return changes;
}

/** Linear light of a colour channel, column by column; each row lasts until the next. */
export interface LightSamples {
  /** Times (s), rising. */
  tS: ArrayLike<number>;
  /** Components 0..1. */
  red: ArrayLike<number>;
  green: ArrayLike<number>;
  blue: ArrayLike<number>;
}

/** Relative luminance 0..1, sample by sample. */
export function luminancesOf({ red, green, blue }: LightSamples): Float64Array {
  const luminances = new Float64Array(red.length);
  for (let i = 0; i < red.length; i++) {
    linear.red = red[i]!;
    linear.green = green[i]!;
    linear.blue = blue[i]!;
    luminances[i] = luminanceOfLinear(linear);
  }
  return luminances;
}

/** The most red flashes within any window of `windowS` (s), both ends included; as `worstFlashes`. */
export function worstRedFlashes(samples: LightSamples, windowS = 1): number {
  const shades = new Chromaticities(samples);
  return worstOf(samples.tS, windowS, (start, end, worst) => {
    // There are no more changes than crossings, so most windows need no closer look.
    if (shades.crossings(start, end) <= 2 * worst + 1) return 0;
    const changes = Math.max(shades.changes(start, end, 0), shades.changes(start, end, 1));
    return Math.floor(changes / 2);
  });
}

/** The chromaticity of samples, sample by sample. */
class Chromaticities {
  /** 1 where it is a saturated red. */
  readonly #red: Uint8Array;
  /** Samples where saturated red begins or ends. */
  readonly #crossings: number[] = [];
  readonly #u: Float64Array;
  readonly #v: Float64Array;

  constructor({ red, green, blue }: LightSamples) {
    const count = red.length;
    this.#red = new Uint8Array(count);
    this.#u = new Float64Array(count);
    this.#v = new Float64Array(count);
    const uv = new Float64Array(2);
    const light = new Colour();
    for (let i = 0; i < count; i++) {
      light.red = red[i]!;
      light.green = green[i]!;
      light.blue = blue[i]!;
      if (isSaturatedRed(light)) this.#red[i] = 1;
      if (i > 0 && this.#red[i] !== this.#red[i - 1]) this.#crossings.push(i);
      writeChromaticity(light, uv);
      this.#u[i] = uv[0]!;
      this.#v[i] = uv[1]!;
    }
  }

  /** How often the colour goes to or from saturated red between these samples. */
  crossings(start: number, end: number): number {
    return firstAbove(this.#crossings, end - 1) - firstAbove(this.#crossings, start);
  }

  /** How many changes to and from red follow one another, the first from red (1) or not (0). */
  changes(start: number, end: number, from: number): number {
    let changes = 0;
    let red = from;
    /** The first sample since the last change. */
    let since = start;
    let lowU = 1;
    let highU = 0;
    let lowV = 1;
    let highV = 0;
    for (let i = start; i < end; i++) {
      const u = this.#u[i]!;
      const v = this.#v[i]!;
      if (this.#red[i] !== red) {
        // No sample is farther away than the farthest corner of the box that holds them all.
        const corner = length(Math.max(u - lowU, highU - u), Math.max(v - lowV, highV - v));
        if (!(corner > RED_CHANGE && this.#isFarFromAny(since, i, red))) continue;
        changes++;
        red = 1 - red;
        since = i;
        lowU = 1;
        highU = 0;
        lowV = 1;
        highV = 0;
      }
      lowU = Math.min(lowU, u);
      highU = Math.max(highU, u);
      lowV = Math.min(lowV, v);
      highV = Math.max(highV, v);
    }
    return changes;
  }

  /** Whether sample `at` is far from any earlier sample that is red (1), or is not (0). */
  #isFarFromAny(since: number, at: number, red: number): boolean {
    const u = this.#u[at]!;
    const v = this.#v[at]!;
    for (let i = since; i < at; i++)
      if (this.#red[i] === red && length(u - this.#u[i]!, v - this.#v[i]!) > RED_CHANGE)
        return true;
    return false;
  }
}
