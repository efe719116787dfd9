/** A monotonic clock (ms, with fractions) and a way to be called later. Tests inject their own. */
export interface Clock {
  /** Monotonic time in ms; only differences mean anything. */
  nowMs(): number;
  /** Wall-clock time in ms since the epoch, for the journal alone: nothing is timed by it. */
  wallMs(): number;
  /** Calls `wake` once, not before `delayMs` has passed; returns a way to cancel. */
  after(delayMs: number, wake: () => void): () => void;
}

export const systemClock: Clock = {
  nowMs: () => performance.now(),
  wallMs: () => Date.now(),
  after(delayMs, wake) {
    const timer = setTimeout(wake, delayMs);
    return () => clearTimeout(timer);
  },
};

interface Waiting {
  atMs: number;
  order: number;
  wake: () => void;
}

/** A clock that stands still until `advance` is called; wakes due callbacks in order of time. */
export class VirtualClock implements Clock {
  #nowMs = 0;
  #wallStartMs: number;
  #waiting: Waiting[] = [];
  #order = 0;

  constructor(wallStartMs = Date.UTC(2026, 0, 1)) {
    this.#wallStartMs = wallStartMs;
  }

  nowMs(): number {
    return this.#nowMs;
  }

  wallMs(): number {
    return this.#wallStartMs + this.#nowMs;
  }

  after(delayMs: number, wake: () => void): () => void {
    const entry = { atMs: this.#nowMs + Math.max(0, delayMs), order: this.#order++, wake };
    this.#waiting.push(entry);
    return () => {
      this.#waiting = this.#waiting.filter((other) => other !== entry);
    };
  }

  /** Moves time forward by `ms`, calling everything that falls due on the way. */
  advance(ms: number): void {
    const untilMs = this.#nowMs + ms;
    for (;;) {
      let next: Waiting | undefined;
      for (const entry of this.#waiting) {
        if (entry.atMs > untilMs) continue;
        if (
          !next ||
          entry.atMs < next.atMs ||
          (entry.atMs === next.atMs && entry.order < next.order)
        )
          next = entry;
      }
      if (!next) break;
      this.#waiting.splice(this.#waiting.indexOf(next), 1);
      this.#nowMs = Math.max(this.#nowMs, next.atMs);
      next.wake();
    }
    this.#nowMs = untilMs;
  }
}
