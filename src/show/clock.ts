/**
 * The show's clock as one prop sees it: how far the conductor's clock is from its own, and how far off that
 * may be. Pure; times are ms.
 */

/** One exchange: the prop asks at t1 and hears at t4 (its own clock); the conductor hears at t2 and answers at t3 (its clock). */
export interface Exchange {
  t1: number;
  t2: number;
  t3: number;
  t4: number;
}

/** What one exchange says. */
export interface Sample {
  /** The conductor's clock minus the prop's (ms). */
  offsetMs: number;
  /** Time on the way, both ways together (ms). */
  delayMs: number;
  /** What the resolution of the clocks, and their drift while the exchange lasted, may have added (ms): the dispersion of RFC 5905, section 8. */
  dispersionMs: number;
  /** When it was heard, on the prop's clock (ms). */
  atMs: number;
}

/** The show's clock at one moment. */
export interface Reading {
  offsetMs: number;
  /** The true offset is within this of `offsetMs` (ms). */
  uncertaintyMs: number;
  /** Of the exchange that it rests on (ms). */
  delayMs: number;
  /** How much faster the conductor's clock runs than the prop's (parts per million); 0 until it is known. */
  driftPpm: number;
}

/** Stages of the clock filter: NSTAGE of RFC 5905, section 10. */
const STAGES = 8;
/**
 * How far two clocks that nothing disciplines drift apart at most (parts per million): quartz is good to
 * 50 ppm each (common practice, no source). RFC 5905's PHI, 15 ppm, is for clocks that are disciplined.
 */
export const TOLERANCE_PPM = 100;
/** A drift that was measured may still change by this with temperature: PHI of RFC 5905, section 7.2. */
const REST_PPM = 15;
/** Drift beyond this is a fault: MAXFREQ of RFC 5905, appendix A.1.1. */
const MOST_DRIFT_PPM = 500;
/** Resolution of the time stamps of both sides together (ms). */
const PRECISION_MS = 0.05;
/** An exchange that took longer says too little (ms). */
const LONGEST_DELAY_MS = 2000;
/** Drift is measured over this time at least, and at most (ms). */
const DRIFT_OVER_MS = 60_000;
const DRIFT_FORGET_MS = 1_200_000;

/**
 * Offset and delay of one exchange: RFC 5905, section 8,
 * offset = ((t2 - t1) + (t3 - t4)) / 2 and delay = (t4 - t1) - (t3 - t2).
 * @returns undefined where the times cannot be true
 */
export function sampleOf({ t1, t2, t3, t4 }: Exchange): Sample | undefined {
  const delayMs = t4 - t1 - (t3 - t2);
  if (![t1, t2, t3, t4].every(Number.isFinite) || t4 < t1 || t3 < t2) return undefined;
  // Two clocks at different rates may make a very short delay negative.
  if (delayMs < -PRECISION_MS || delayMs > LONGEST_DELAY_MS) return undefined;
  const dispersionMs = PRECISION_MS + (TOLERANCE_PPM / 1e6) * (t4 - t1);
  return {
    offsetMs: (t2 - t1 + (t3 - t4)) / 2,
    delayMs: Math.max(0, delayMs),
    dispersionMs,
    atMs: t4,
  };
}

/**
 * How far off one exchange may be: half its delay, where all of it was spent one way, its dispersion and the
 * drift since (ms): the root distance of RFC 5905, section 11.1, for one hop.
 */
function uncertaintyOf(
  { delayMs, dispersionMs, atMs }: Sample,
  nowMs: number,
  ppm: number,
): number {
  return delayMs / 2 + dispersionMs + (ppm / 1e6) * Math.abs(nowMs - atMs);
}

/** The clock of one conductor, from the exchanges with it. */
export class ShowClock {
  #samples: Sample[] = [];
  /** A good one from before, which drift is measured from. */
  #anchor: Sample | undefined;
  #drift = { ppm: 0, errorPpm: TOLERANCE_PPM };

  /** Takes one exchange in. @returns false where it says nothing */
  add(exchange: Exchange): boolean {
    const sample = sampleOf(exchange);
    if (!sample) return false;
    const before = this.at(sample.atMs);
    if (before) {
      const between = Math.abs(sample.offsetMs - before.offsetMs);
      const possible = before.uncertaintyMs + uncertaintyOf(sample, sample.atMs, TOLERANCE_PPM);
      // The two cannot both be true: one of the clocks was set, and what was measured before is void.
      if (between > possible) this.forget();
    }
    this.#samples.push(sample);
    if (this.#samples.length > STAGES) this.#samples.shift();
    this.#measureDrift(sample.atMs);
    return true;
  }

  forget(): void {
    this.#samples = [];
    this.#anchor = undefined;
    this.#drift = { ppm: 0, errorPpm: TOLERANCE_PPM };
  }

  /** The show's clock at a time of the prop's own (ms); undefined before the first exchange. */
  at(nowMs: number): Reading | undefined {
    const best = this.#best(nowMs);
    if (!best) return undefined;
    const { ppm, errorPpm } = this.#drift;
    return {
      offsetMs: best.offsetMs + (ppm / 1e6) * (nowMs - best.atMs),
      uncertaintyMs: uncertaintyOf(best, nowMs, errorPpm),
      delayMs: best.delayMs,
      driftPpm: ppm,
    };
  }

  /** The prop's own time at a time of the show's clock (ms); undefined before the first exchange. */
  ownMs(showMs: number, nowMs: number): number | undefined {
    const reading = this.at(nowMs);
    if (!reading) return undefined;
    const guess = showMs - reading.offsetMs;
    // The offset at that time, not now: what is left is a millionth of a millionth.
    return showMs - this.at(guess)!.offsetMs;
  }

  /** Of the exchanges kept, the one that is least far off now: that with the least delay, but for its age. */
  #best(nowMs: number): Sample | undefined {
    let best: Sample | undefined;
    let least = Number.POSITIVE_INFINITY;
    for (const sample of this.#samples) {
      const far = uncertaintyOf(sample, nowMs, this.#drift.errorPpm);
      if (far > least) continue;
      best = sample;
      least = far;
    }
    return best;
  }

  /** The slope between a good exchange long ago and the best one now; kept only where it says more than the tolerance. */
  #measureDrift(nowMs: number): void {
    const best = this.#best(nowMs)!;
    if (!this.#anchor || nowMs - this.#anchor.atMs > DRIFT_FORGET_MS) {
      this.#anchor = best;
      return;
    }
    const spanMs = best.atMs - this.#anchor.atMs;
    if (spanMs < DRIFT_OVER_MS) {
      if (best.delayMs < this.#anchor.delayMs) this.#anchor = best;
      return;
    }
    const slopePpm = ((best.offsetMs - this.#anchor.offsetMs) / spanMs) * 1e6;
    const halves =
      (best.delayMs + this.#anchor.delayMs) / 2 + best.dispersionMs + this.#anchor.dispersionMs;
    const errorPpm = (halves / spanMs) * 1e6 + REST_PPM;
    if (Math.abs(slopePpm) - errorPpm > MOST_DRIFT_PPM) this.forget();
    else if (errorPpm < TOLERANCE_PPM) this.#drift = { ppm: slopePpm, errorPpm };
  }
}
