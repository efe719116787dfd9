import type { Clock } from '../shared/clock.ts';

/** A timer may fire this much early (ms) and still count as on time: it rounds to whole ms. */
const EARLY_MS = 0.5;

/**
 * Runs `tick` on an absolute schedule: tick k is due at start + k × period, whatever the ticks
 * before it took, so that lateness never adds up.
 */
export class Loop {
  readonly #clock: Clock;
  readonly #periodMs: number;
  readonly #tick: (nowMs: number, elapsedTicks: number, lateMs: number) => void;
  #nextMs = 0;
  #cancel: (() => void) | undefined;

  /**
   * `tick` is told how many periods have passed since the one before, 1, or more after a stall; and
   * how much after it was due it begins (ms).
   */
  constructor(
    clock: Clock,
    periodMs: number,
    tick: (nowMs: number, elapsedTicks: number, lateMs: number) => void,
  ) {
    this.#clock = clock;
    this.#periodMs = periodMs;
    this.#tick = tick;
  }

  /** @param firstMs when the first tick is due; a period from now without it */
  start(firstMs = this.#clock.nowMs() + this.#periodMs): void {
    this.#nextMs = firstMs;
    this.#arm();
  }

  stop(): void {
    this.#cancel?.();
    this.#cancel = undefined;
  }

  #arm(): void {
    this.#cancel = this.#clock.after(this.#nextMs - this.#clock.nowMs(), this.#wake);
  }

  readonly #wake = (): void => {
    const nowMs = this.#clock.nowMs();
    const lateMs = nowMs - this.#nextMs;
    if (lateMs >= -EARLY_MS) {
      const elapsed = Math.max(1, Math.floor(lateMs / this.#periodMs) + 1);
      this.#nextMs += elapsed * this.#periodMs;
      this.#tick(nowMs, elapsed, lateMs);
    }
    if (this.#cancel) this.#arm();
  };
}
