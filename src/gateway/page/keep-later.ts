import type { Clock } from '../../shared/clock.ts';

/** What changes with every movement of a pointer is written so often at most (ms). */
export const KEEP_EVERY_MS = 400;

/** Writes things by name a moment after they have changed: often together, never later than that. */
export class KeepLater {
  readonly #clock: Pick<Clock, 'after'>;
  readonly #write: (name: string) => void;
  readonly #due = new Set<string>();
  #cancel: () => void = () => {};

  /** @param write writes what there is now */
  constructor(clock: Pick<Clock, 'after'>, write: (name: string) => void) {
    this.#clock = clock;
    this.#write = write;
  }

  /** It has changed. */
  soon(name: string): void {
    if (this.#due.size === 0) this.#cancel = this.#clock.after(KEEP_EVERY_MS, () => this.now());
    this.#due.add(name);
  }

  /** Writes what is due, as the page may be gone in a moment. */
  now(): void {
    this.#cancel();
    const names = [...this.#due];
    this.#due.clear();
    for (const name of names) this.#write(name);
  }
}
