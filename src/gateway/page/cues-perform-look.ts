import type { Result } from '../../api/methods.ts';
import type { Clock } from '../../shared/clock.ts';

/** While it records, it is looked at so often (ms). */
export const LOOK_EVERY_MS = 500;

/** A recording as the daemon has it. */
export type Recorded = Result<'take.read'>;

interface LookParts {
  clock: Pick<Clock, 'after'>;
  /** @param asItIs without the changes that are chosen here: they are for another recording, or for none */
  read(asItIs: boolean): Promise<Recorded>;
  /** What there is now; undefined where nothing was recorded. */
  seen(now: Recorded | undefined): void;
  /** A recording is over that has not been looked at since: it is looked at again once this returns. */
  over(now: Recorded): void;
  /** One that was under way is no longer there. */
  gone(): void;
  failed(error: Error): void;
}

/** Looks at the recording under way, and at what has become of it. */
export class RecordingLook {
  readonly #parts: LookParts;
  #last: Recorded | undefined;
  /** Counts up with every look: the answer to an earlier one is void. */
  #run = 0;
  #cancel: () => void = () => {};

  constructor(parts: LookParts) {
    this.#parts = parts;
  }

  /** Something has begun: what was known before is of another recording. */
  begun(now: Recorded): void {
    this.#last = now;
    this.#parts.seen(now);
  }

  /**
   * Looks once, and repeatedly while it records.
   * @param again nobody knows what has happened since the last time
   */
  async look(again = false): Promise<void> {
    const { clock, read, seen, over, gone, failed } = this.#parts;
    const run = ++this.#run;
    this.#cancel();
    const last = this.#last;
    const wasOver = last?.recording === false;
    let now: Recorded;
    try {
      now = await read(again || !wasOver);
    } catch (error) {
      if (run === this.#run) failed(error as Error);
      return;
    }
    if (run !== this.#run) return;
    const isThere = now.samples > 0;
    this.#last = isThere ? now : undefined;
    seen(this.#last);
    if (!isThere) {
      if (last?.recording) gone();
      return;
    }
    if (now.recording) {
      this.#cancel = clock.after(LOOK_EVERY_MS, () => void this.look());
      return;
    }
    const isKnown = wasOver && isSame(last, now);
    if (!isKnown) over(now);
    // It was read without what is chosen for it.
    if (again || !isKnown) await this.look();
  }

  end(): void {
    this.#run++;
    this.#cancel();
  }
}

function isSame(one: Recorded, other: Recorded): boolean {
  const { samples, channels } = one;
  return samples === other.samples && channels.join() === other.channels.join();
}
