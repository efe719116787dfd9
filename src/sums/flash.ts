/**
 * General flashes (WCAG 2.2, definition of "general flash and red flash thresholds", success
 * criterion 2.3.1): a general flash is a pair of opposing changes in relative luminance of 10 % or
 * more of the maximum relative luminance (1.0), where the relative luminance of the darker state is
 * below 0.80. Red flashes and the size of the lit area are not considered: the area counts as large.
 *
 * A change runs from one extremum to the next, however small its steps; it counts in the moment in
 * which it has reached 10 %.
 */
const DARKER_BELOW = 0.8;
/** 10 %, less what rounding may take from a difference such as 0.3 - 0.2. */
const CHANGE = 0.1 - 1e-9;

/** Whether going between these luminances is a change that counts. */
function counts(darker: number, lighter: number): boolean {
  return lighter - darker >= CHANGE && darker < DARKER_BELOW;
}

/**
 * Keeps one light channel, dark at first, from flashing too often. It is stricter than the rule by
 * half a flash: no window holds more than `maxFlashes` rises or more than `maxFlashes` falls.
 */
export class FlashGuard {
  readonly #windowS: number;
  /** When the last changes began to count (s), as a ring; the oldest is at #oldest. */
  readonly #changeS: Float64Array;
  #oldest = 0;
  /** Direction of the last change: 1 up, -1 down, 0 before the first. */
  #direction = 0;
  /** Extrema since the last change began to count; before the first, since the start. */
  #low = 0;
  #high = 0;

  /** @param maxFlashes 1 or more. @param windowS length of the window (s). */
  constructor(maxFlashes = 3, windowS = 1) {
    this.#windowS = windowS;
    this.#changeS = new Float64Array(2 * maxFlashes).fill(Number.NEGATIVE_INFINITY);
  }

  /**
   * Asks to output `luminance` (relative, 0..1) at `tS`, which never falls from call to call.
   * Allocates nothing.
   * @returns true when it may be output, and is noted as output; false when the old output must be
   * held, because the change would be one too many. Ask again later.
   */
  admit(tS: number, luminance: number): boolean {
    if (Number.isNaN(luminance)) return false;
    if (this.#turnAt(luminance) !== 0 && tS - this.#changeS[this.#oldest]! <= this.#windowS)
      return false;
    this.force(tS, luminance);
    return true;
  }

  /** Notes an output that nothing could hold back, such as the dark after a stop. */
  force(tS: number, luminance: number): void {
    const turn = this.#turnAt(luminance);
    if (turn !== 0) {
      this.#direction = turn;
      this.#low = luminance;
      this.#high = luminance;
      this.#changeS[this.#oldest] = tS;
      this.#oldest = (this.#oldest + 1) % this.#changeS.length;
    }
    this.#low = Math.min(this.#low, luminance);
    this.#high = Math.max(this.#high, luminance);
  }

  /** The direction of the change that begins to count at `luminance`; 0 when none does. */
  #turnAt(luminance: number): number {
    if (this.#direction !== 1 && counts(this.#low, luminance)) return 1;
    if (this.#direction !== -1 && counts(luminance, this.#high)) return -1;
    return 0;
  }
}

/**
 * The most general flashes within any window of `windowS` (s), both ends included. Every window is
 * looked at by itself, whatever went on before it, so a change that is cut by the start of the
 * window counts by the part inside.
 * @param samples in order of time; relative luminance 0..1, constant until the next sample.
 */
export function worstFlashes(
  samples: Iterable<{ tS: number; luminance: number }>,
  windowS = 1,
): number {
  const all = [...samples];
  let worst = 0;
  for (let start = 0; start < all.length; start++)
    worst = Math.max(worst, Math.floor(opposingChanges(all, start, windowS) / 2));
  return worst;
}

/** How many opposing changes follow one another in the window that starts at a sample. */
function opposingChanges(
  all: readonly { tS: number; luminance: number }[],
  start: number,
  windowS: number,
): number {
  const endS = all[start]!.tS + windowS;
  // The longest alternating row of changes that ends upward, and downward, so far.
  let changes = 0;
  let rising: boolean | undefined;
  let darkest = all[start]!.luminance;
  let lightest = darkest;
  for (let i = start; i < all.length && all[i]!.tS <= endS; i++) {
    const { luminance } = all[i]!;
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
