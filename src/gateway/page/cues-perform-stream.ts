import type { Result } from '../../api/methods.ts';
import type { Clock } from '../../shared/clock.ts';

/** Targets are sent this long after the last ones (ms), once those have been answered. */
export const SEND_EVERY_MS = 40;
/** An answer, or the page's own timer, that comes later than this ends it (ms). */
export const HESITATION_MS = 250;

/** What waits for the answer to an earlier one looks again after this time (ms). */
const AGAIN_MS = 10;

const HESITATED = 'The link hesitated, so everything holds. Let go, then take hold again.';

/** How a servo that is led follows. */
export type Following = Result<'channel.perform'>['channels'][string];

interface StreamParts {
  clock: Pick<Clock, 'nowMs' | 'after'>;
  /** Where everything that is held goes now (deg), by channel. */
  targets(): Record<string, number>;
  /** Rejects with the reason when it is refused. */
  send(targets: Record<string, number>): Promise<Result<'channel.perform'>>;
  /** What the daemon answered. */
  heard(channels: Result<'channel.perform'>['channels']): void;
  /** Nothing is led any more; `why` is for a person, empty when the hand has let go. */
  ended(why: string): void;
}

/**
 * Leads servos while a hand holds anything: the newest targets go out 25 times a second, never two at a
 * time, and nothing is queued. A link or a page that hesitates ends it; the daemon then lets the servos
 * decelerate and hold by itself.
 */
export class LeadStream {
  readonly #parts: StreamParts;
  /** Counts up with every beginning and end: what belongs to an earlier one is void. */
  #run = 0;
  #running = false;
  /** When the targets went out that are not answered yet (ms). */
  #unansweredMs: number | undefined;
  #cancel: () => void = () => {};

  constructor(parts: StreamParts) {
    this.#parts = parts;
  }

  get running(): boolean {
    return this.#running;
  }

  /** Something is held. */
  begin(): void {
    if (this.#running) return;
    this.#running = true;
    void this.#send(++this.#run);
  }

  /** Everything is let go. @param why for a person; empty on release */
  end(why = ''): void {
    if (!this.#running) return;
    this.#run++;
    this.#running = false;
    this.#cancel();
    this.#parts.ended(why);
    // Told at once; where that fails, silence says the same.
    this.#parts.send({}).catch(() => {});
  }

  async #send(run: number): Promise<void> {
    const { clock, send, targets, heard } = this.#parts;
    const sentMs = clock.nowMs();
    if (this.#unansweredMs !== undefined) {
      // Let go and taken hold of again within a moment; but a link that is slow is not for leading.
      if (sentMs - this.#unansweredMs >= HESITATION_MS) this.end(HESITATED);
      else this.#wait(run, sentMs + AGAIN_MS);
      return;
    }
    const now = targets();
    if (Object.keys(now).length === 0) {
      this.end();
      return;
    }
    this.#unansweredMs = sentMs;
    this.#cancel = clock.after(HESITATION_MS, () => {
      if (run === this.#run) this.end(HESITATED);
    });
    try {
      const { channels } = await send(now);
      if (run === this.#run) heard(channels);
    } catch (error) {
      if (run === this.#run) this.end((error as Error).message);
      return;
    } finally {
      this.#unansweredMs = undefined;
    }
    if (run !== this.#run) return;
    this.#cancel();
    const lateMs = clock.nowMs() - sentMs;
    if (lateMs > HESITATION_MS) this.end(HESITATED);
    else this.#wait(run, sentMs + SEND_EVERY_MS);
  }

  #wait(run: number, dueMs: number): void {
    const { clock } = this.#parts;
    this.#cancel = clock.after(Math.max(0, dueMs - clock.nowMs()), () => {
      if (run !== this.#run) return;
      if (clock.nowMs() - dueMs > HESITATION_MS) this.end(HESITATED);
      else void this.#send(run);
    });
  }
}
