/** A difference below it is no jump (ms): clocks are corrected all the time. */
const JUMP_MS = 2000;

/**
 * Notices that the time of day was set while the daemon runs, or is older than the journal when it
 * starts: boards without a battery for their clock do not know the time until the network tells them.
 */
export class ClockWatch {
  /** Time of day less monotonic time (ms). */
  #offsetMs: number | undefined;
  #lastMs: number | undefined;

  /** @param lastMs when the newest entry of the runs before was made (ms since the epoch) */
  constructor(lastMs: number | undefined) {
    this.#lastMs = lastMs;
  }

  /**
   * Takes the time of an entry, just made.
   * @param wallMs time of day (ms since the epoch) @param nowMs monotonic
   * @returns what is to be said, and the jump (s); undefined where all is well
   */
  look(wallMs: number, nowMs: number): { text: string; byS: number } | undefined {
    const offsetMs = wallMs - nowMs;
    const before = this.#offsetMs;
    const lastMs = this.#lastMs;
    this.#offsetMs = offsetMs;
    this.#lastMs = undefined;
    if (before !== undefined) {
      if (Math.abs(offsetMs - before) < JUMP_MS) return undefined;
      const byS = Math.round((offsetMs - before) / 1000);
      const way = byS > 0 ? 'forward' : 'back';
      const text = `the time of day was set ${way} by ${duration(Math.abs(byS))}: earlier entries have the time as it was before, and the numbers give the order`;
      return { text, byS };
    }
    if (lastMs === undefined || wallMs > lastMs - JUMP_MS) return undefined;
    const byS = Math.round((wallMs - lastMs) / 1000);
    const text = `the time of day is ${duration(-byS)} behind the last entry, so it may not be set yet: the numbers give the order`;
    return { text, byS };
  }
}

/** `3 h 12 min`, `45 s`, `20 days`. */
function duration(seconds: number): string {
  if (seconds < 120) return `${seconds} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  return hours < 48 ? `${hours} h ${minutes % 60} min` : `${Math.round(hours / 24)} days`;
}
