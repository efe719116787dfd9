/**
 * Flashes of a light, counted as WCAG 2.2 defines them ("general flash and red flash thresholds"),
 * by its text alone and by other means than the product's guard.
 */

/** When the last changes were: how many within a second. */
class LastSecond {
  readonly #timesS: number[] = [];

  add(tS: number): void {
    this.#timesS.push(tS);
  }

  /** Whole flashes: pairs of opposing changes. */
  flashes(tS: number): number {
    while (this.#timesS.length > 0 && tS - this.#timesS[0]! > 1) this.#timesS.shift();
    return Math.floor(this.#timesS.length / 2);
  }
}

/** Opposing changes of 10 % or more of the luminance range, the darker state below 0.80. */
export class FlashCounter {
  readonly #changes = new LastSecond();
  #last = 0;
  #low = 0;
  #high = 0;
  #direction = 0;

  /** Returns the flashes within the second that ends at `tS`, after `luminance` (0..1). */
  add(tS: number, luminance: number): number {
    if (luminance === this.#last) return this.#changes.flashes(tS);
    this.#last = luminance;
    const rises = luminance - this.#low >= 0.1 && this.#low < 0.8 && this.#direction <= 0;
    const falls = this.#high - luminance >= 0.1 && luminance < 0.8 && this.#direction >= 0;
    if (rises || falls) {
      this.#changes.add(tS);
      this.#direction = rises ? 1 : -1;
      this.#low = luminance;
      this.#high = luminance;
    }
    if (luminance < this.#low) this.#low = luminance;
    if (luminance > this.#high) this.#high = luminance;
    return this.#changes.flashes(tS);
  }
}

/**
 * Changes to and from a saturated red, R / (R + G + B) of 0.8 or more, that differ by more than 0.2
 * in CIE 1976 u' v' from the colour before them.
 */
export class RedFlashCounter {
  readonly #changes = new LastSecond();
  #isRed = false;
  /** The last colour on the other side. */
  #before = chromaticity(0, 0, 0);
  #sum = -1;

  add(tS: number, red: number, green: number, blue: number): number {
    const sum = red + 2 * green + 4 * blue;
    if (sum === this.#sum) return this.#changes.flashes(tS);
    this.#sum = sum;
    const isRed = red > 0 && red >= 0.8 * (red + green + blue);
    const here = chromaticity(red, green, blue);
    const far = Math.hypot(here[0] - this.#before[0], here[1] - this.#before[1]) > 0.2;
    if (isRed !== this.#isRed && far) {
      this.#changes.add(tS);
      this.#isRed = isRed;
    }
    if (isRed === this.#isRed) this.#before = here;
    return this.#changes.flashes(tS);
  }
}

/** u' and v' (CIE 15:2004) of linear sRGB; black counts as the white that it is the end of. */
function chromaticity(red: number, green: number, blue: number): [number, number] {
  const [r, g, b] = red + green + blue > 0 ? [red, green, blue] : [1, 1, 1];
  const x = 0.4124 * r + 0.3576 * g + 0.1805 * b;
  const y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
  const z = 0.0193 * r + 0.1192 * g + 0.9505 * b;
  const sum = x + 15 * y + 3 * z;
  return [(4 * x) / sum, (9 * y) / sum];
}
