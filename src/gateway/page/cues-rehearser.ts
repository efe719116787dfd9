import type { Clock } from '../../shared/clock.ts';
import { type Steps, same } from './cues-model.ts';

/** Nobody types faster than this (ms). */
export const PAUSE_MS = 250;
/** A daemon that is busy is asked again after this time (ms). */
export const BUSY_MS = 1000;

/** What is to be rehearsed: a cue as it stands on the desk. */
export interface Wanted {
  cue: string;
  steps: Steps;
  /** Of the prop file. */
  version: string;
}

interface RehearserParts<R> {
  clock: Pick<Clock, 'after'>;
  /** What is on the desk now; undefined where there is nothing, or no link. */
  wanted(): Wanted | undefined;
  /** Rejects with the reason when it is refused. */
  ask(wanted: Wanted): Promise<R>;
  /** The answer for the cue that is on the desk, if not for its newest steps. */
  done(wanted: Wanted, of: R): void;
  failed(wanted: Wanted, error: Error): void;
  /** Whether it is only for now, so that it is worth asking again. */
  isBusy(error: unknown): boolean;
}

/**
 * Has the cue on the desk rehearsed a moment after each change, one rehearsal at a time. An answer for a
 * cue that is no longer on the desk is dropped.
 */
export class Rehearser<R> {
  readonly #parts: RehearserParts<R>;
  #cancel: () => void = () => {};
  #asking = false;
  #ended = false;

  constructor(parts: RehearserParts<R>) {
    this.#parts = parts;
  }

  /** Something on the desk is not as it was. @param soon without waiting for more */
  changed(soon = false): void {
    this.#askIn(soon ? 0 : PAUSE_MS);
  }

  /** Nothing is asked any more, and what is still to be answered is dropped. */
  end(): void {
    this.#ended = true;
    this.#cancel();
  }

  #askIn(ms: number): void {
    this.#cancel();
    if (this.#ended || !this.#parts.wanted()) return;
    this.#cancel = this.#parts.clock.after(ms, () => void this.#ask());
  }

  async #ask(): Promise<void> {
    const { wanted, ask, done, failed, isBusy } = this.#parts;
    // Asked again once the answer is here.
    if (this.#asking) return;
    const of = wanted();
    if (!of) return;
    const isHere = () => !this.#ended && wanted()?.cue === of.cue;
    let againMs = PAUSE_MS;
    let isDue = false;
    this.#asking = true;
    try {
      const answer = await ask(of);
      if (isHere()) done(of, answer);
    } catch (error) {
      if (isBusy(error)) {
        isDue = true;
        againMs = BUSY_MS;
      } else if (isHere()) failed(of, error as Error);
    } finally {
      this.#asking = false;
    }
    if (isDue || !same(wanted(), of)) this.#askIn(againMs);
  }
}
