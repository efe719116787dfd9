import { isDeepStrictEqual } from 'node:util';
import { DOOR_RETRY_MS } from '../api/limits.ts';
import type { Clock } from '../shared/clock.ts';
import type { Log } from './log.ts';

/** Where messages come in, and what is said where they cannot. */
interface Entrance<W> {
  /** Resolves with a way to close. @throws Error where it cannot listen */
  open(where: W): Promise<() => Promise<void>>;
  /** What does not work for this reason, and what to do. */
  problem(reason: string): string;
}

/** Listens where the prop file in use says, and keeps trying where it cannot. */
export class Door<W> {
  readonly #clock: Clock;
  readonly #log: Log;
  readonly #entrance: Entrance<W>;
  readonly #onProblem: (problem: string | undefined) => void;
  #where: W | null = null;
  #close: (() => Promise<void>) | undefined;
  /** One thing at a time: a port is free again only when it has been closed. */
  #last: Promise<void> = Promise.resolve();
  #cancelRetry = () => {};

  /** @param onProblem called with why nothing is heard, and with undefined when that is over */
  constructor(
    clock: Clock,
    log: Log,
    entrance: Entrance<W>,
    onProblem: (problem: string | undefined) => void,
  ) {
    this.#clock = clock;
    this.#log = log;
    this.#entrance = entrance;
    this.#onProblem = onProblem;
  }

  /** Resolves when it listens there, or is known not to. */
  follow(where: W | null): Promise<void> {
    if (isDeepStrictEqual(where, this.#where)) return this.#last;
    this.#where = where;
    this.#cancelRetry();
    this.#last = this.#last.then(() => this.#change(where));
    return this.#last;
  }

  async #change(where: W | null): Promise<void> {
    const close = this.#close;
    this.#close = undefined;
    await close?.();
    // Somebody may have asked for another place meanwhile; that comes next.
    if (where !== this.#where) return;
    if (where === null) return this.#onProblem(undefined);
    try {
      this.#close = await this.#entrance.open(where);
      this.#onProblem(undefined);
    } catch (error) {
      this.#log.warn({ err: error }, 'nothing is heard there');
      this.#onProblem(this.#entrance.problem((error as Error).message));
      this.#cancelRetry = this.#clock.after(DOOR_RETRY_MS, () => {
        this.#last = this.#last.then(() => this.#change(where));
      });
    }
  }

  close(): Promise<void> {
    return this.follow(null);
  }
}
