/** A board that makes no progress for this long (ms) has failed: it is stuck, or far too slow. */
export const STUCK_MS = 250;
/** One check counts at most this much of that time (ms), so that the board gets a chance after a stall. */
export const LONGEST_STEP_MS = 20;

/** Checks from outside whether work in the background makes progress. */
export class Stuck {
  readonly #limitMs: number;
  #ms = 0;
  #done = 0;
  #lastMs = 0;

  constructor(limitMs = STUCK_MS) {
    this.#limitMs = limitMs;
  }

  /**
   * Whether nothing has been done for too long; call it in every tick.
   * @param waiting whether there is work to do.
   * @param done how much has been done so far
   */
  look(nowMs: number, waiting: boolean, done: number): boolean {
    const passedMs = Math.min(nowMs - this.#lastMs, LONGEST_STEP_MS);
    this.#lastMs = nowMs;
    if (!waiting || done !== this.#done) this.#ms = 0;
    else this.#ms += passedMs;
    this.#done = done;
    return this.#ms > this.#limitMs;
  }
}
