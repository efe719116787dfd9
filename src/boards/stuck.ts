/** A board that gets nothing done for so long (ms) has failed: it is stuck, or far too slow. */
export const STUCK_MS = 250;
/** One look counts for this much of it at most (ms): after a stall the board gets its chance. */
export const LONGEST_STEP_MS = 20;

/** Sees from outside whether work in the background gets on. */
export class Stuck {
  readonly #limitMs: number;
  #ms = 0;
  #done = 0;
  #lastMs = 0;

  constructor(limitMs = STUCK_MS) {
    this.#limitMs = limitMs;
  }

  /**
   * Whether nothing has been done for too long; to be asked in every tick.
   * @param waiting whether there is something to be done. @param done how much has been done so far
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
