/** A token bucket: `burst` at once, `perS` per second for ever. */
export class Bucket {
  readonly #perS: number;
  readonly #burst: number;
  #tokens: number;
  #atMs: number;

  constructor(perS: number, burst: number, nowMs: number) {
    this.#perS = perS;
    this.#burst = burst;
    this.#tokens = burst;
    this.#atMs = nowMs;
  }

  /** Takes `count` tokens if there are that many; takes none otherwise. */
  take(count: number, nowMs: number): boolean {
    const earned = ((nowMs - this.#atMs) / 1000) * this.#perS;
    this.#tokens = Math.min(this.#burst, this.#tokens + earned);
    this.#atMs = nowMs;
    if (this.#tokens < count) return false;
    this.#tokens -= count;
    return true;
  }

  /** Time until `count` tokens are there (ms), as of the last `take`. */
  waitMs(count: number): number {
    return Math.max(0, Math.ceil(((count - this.#tokens) / this.#perS) * 1000));
  }
}
