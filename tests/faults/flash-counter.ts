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

/**
 * Opposing changes of 10 % or more of the peak of the last second, however light the darker state:
 * all light of a prop as one, tick by tick and quickly.
 */
export class PeakFlashCounter {
  readonly #changes = new LastSecond();
  #recent: { tS: number; luminance: number }[] = [];
  #last = 0;
  #low = 0;
  #high = 0;
  #direction = 0;

  /** Returns the flashes within the second that ends at `tS`, after `luminance` (of any scale). */
  add(tS: number, luminance: number): number {
    if (luminance === this.#last) return this.#changes.flashes(tS);
    this.#recent = this.#recent.filter((one) => tS - one.tS <= 1);
    this.#recent.push({ tS, luminance: Math.max(luminance, this.#last) });
    this.#last = luminance;
    const least = 0.1 * Math.max(...this.#recent.map((one) => one.luminance));
    const rises = luminance - this.#low >= least && this.#direction <= 0;
    const falls = this.#high - luminance >= least && this.#direction >= 0;
    if (rises || falls) {
      this.#changes.add(tS);
      this.#direction = rises ? 1 : -1;
      this.#low = luminance;
      this.#high = luminance;
    }
    this.#low = Math.min(this.#low, luminance);
    this.#high = Math.max(this.#high, luminance);
    return this.#changes.flashes(tS);
  }
}

/**
 * All light of a prop as one, from linear light (components of any scale). A general flash here is a
 * pair of opposing changes of 10 % or more of the peak within the second that is looked at, however
 * light the darker state. A colour flash is a pair of changes of more than 0.2 in CIE 1976 u' v'.
 * Each second is looked at by itself, by trying every pair of states for each change.
 */
export class WholeCounter {
  #samples: { tS: number; luminance: number; uv: [number, number] }[] = [];
  #worst = { general: 0, colour: 0 };

  /** Returns the flashes within the second that ends at `tS`, both ends included. */
  add(tS: number, red: number, green: number, blue: number): { general: number; colour: number } {
    const luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
    const uv = chromaticity(red, green, blue);
    this.#samples = this.#samples.filter((one) => tS - one.tS <= 1 + 1e-9);
    const last = this.#samples.at(-1);
    const same = last && last.luminance === luminance && String(last.uv) === String(uv);
    this.#samples.push({ tS, luminance, uv });
    if (same) return this.#worst;
    const peak = Math.max(...this.#samples.map((one) => one.luminance));
    this.#worst = {
      general: Math.floor(this.#rises(0.1 * peak - 1e-9) / 2),
      colour: Math.floor(this.#colourChanges() / 2),
    };
    return this.#worst;
  }

  /** The longest row of opposing changes of this size. */
  #rises(least: number): number {
    const all = this.#samples;
    const up = new Array<number>(all.length).fill(0);
    const down = new Array<number>(all.length).fill(0);
    for (let i = 0; i < all.length; i++)
      for (let j = 0; j < i; j++) {
        const change = all[i]!.luminance - all[j]!.luminance;
        if (change >= least) up[i] = Math.max(up[i]!, down[j]! + 1);
        if (-change >= least) down[i] = Math.max(down[i]!, up[j]! + 1);
      }
    return Math.max(0, ...up, ...down);
  }

  #colourChanges(): number {
    const all = this.#samples;
    const row = new Array<number>(all.length).fill(0);
    for (let i = 0; i < all.length; i++)
      for (let j = 0; j < i; j++) {
        const [a, b] = [all[i]!.uv, all[j]!.uv];
        const far = Math.hypot(a[0] - b[0], a[1] - b[1]) > 0.2 + 5e-4;
        row[i] = Math.max(row[i]!, row[j]! + (far ? 1 : 0));
      }
    return Math.max(0, ...row);
  }
}
