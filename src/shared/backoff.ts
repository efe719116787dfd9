const FIRST_MS = 100;
const LONGEST_MS = 5000;
/** What ran this long had started well: the next pause is short again. */
const HEALTHY_MS = 10_000;

/** How long to wait before a thread that has died is started again: longer and longer. */
export class Backoff {
  #nextMs = FIRST_MS;

  /** @param ranMs how long it lived */
  next(ranMs: number): number {
    if (ranMs > HEALTHY_MS) this.#nextMs = FIRST_MS;
    const pauseMs = this.#nextMs;
    this.#nextMs = Math.min(2 * pauseMs, LONGEST_MS);
    return pauseMs;
  }
}
