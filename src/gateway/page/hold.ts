import type { Clock } from '../../shared/clock.ts';

/** Towards the lower or the higher angle. */
export type Direction = -1 | 1;

/** One step is sent this long after the one before, if that has been answered (ms). */
export const STEP_EVERY_MS = 100;
/** An answer, or the page's own timer, that comes later than this ends the hold (ms). */
export const HESITATION_MS = 250;
/** The servo may be this many steps behind before the next one waits for it. */
const STEPS_BEHIND = 3;

export const HESITATED = 'The link hesitated, so it stopped. Let go, then press again.';
const UNANSWERED = 'The link has not answered the last step yet. Wait a moment, then press again.';
export const BOTH = 'Two at once, so it stopped. Let go of both.';
const PUSHES = 'It pushes against something, so it stopped.';
const PUSHED = 'It already pushes that way. Go the other way, or switch off “Stop when it pushes”.';
const ENDS = 'The end of the pulse envelope: it goes no further.';

interface HoldParts {
  clock: Pick<Clock, 'nowMs' | 'after'>;
  /** Sends one step (deg); rejects with the reason when it is refused. */
  step(byDeg: number): Promise<{ target: number; limited: boolean }>;
  /** Where the servo is now (deg), as far as the page knows. */
  positionDeg(): number;
  /** Called when it begins to move and when it stops; `why` is for a person, empty on release. */
  changed(direction: Direction | 0, why: string): void;
}

export interface HoldOptions {
  speedDegS: number;
  stopOnPush: boolean;
}

/**
 * Hold-to-run: a chain of small steps that goes on only while somebody holds the button and every
 * answer comes in time. A link that hesitates therefore ends the motion by itself: nothing is queued,
 * and nothing that comes late starts it again. What has been sent when it stops is one step at most.
 */
export class Hold {
  readonly #parts: HoldParts;
  #direction: Direction | 0 = 0;
  #options: HoldOptions = { speedDegS: 0, stopOnPush: true };
  /** Counts up with every press and stop: what belongs to an earlier one is void. */
  #run = 0;
  #unanswered = false;
  #targetDeg = Number.NaN;
  /** The way in which the servo pushes against something; 0 while it does not. */
  #against: Direction | 0 = 0;
  #cancel: () => void = () => {};

  constructor(parts: HoldParts) {
    this.#parts = parts;
  }

  get direction(): Direction | 0 {
    return this.#direction;
  }

  /** The button goes down. It moves at `speedDegS` (10 deg/s at most) until `stop`. */
  press(direction: Direction, options: HoldOptions): void {
    if (this.#direction !== 0) {
      this.stop(BOTH);
      return;
    }
    const blockedBy = this.#blockedBy(direction, options);
    if (blockedBy) {
      this.#parts.changed(0, blockedBy);
      return;
    }
    this.#options = options;
    this.#direction = direction;
    this.#targetDeg = Number.NaN;
    this.#parts.changed(direction, '');
    void this.#step(++this.#run);
  }

  #blockedBy(direction: Direction, { stopOnPush }: HoldOptions): string {
    if (this.#unanswered) return UNANSWERED;
    return stopOnPush && this.#against === direction ? PUSHED : '';
  }

  /** The button goes up, or anything else that must end the motion; does nothing when it rests. */
  stop(why = ''): void {
    if (this.#direction === 0) return;
    this.#run++;
    this.#cancel();
    this.#direction = 0;
    this.#parts.changed(0, why);
  }

  /**
   * What is known of a push, on every change. Without `towards` it is taken to push the way in which
   * it was moving when the push began.
   */
  sense(pushing: boolean, towards: Direction | 0): void {
    if (!pushing) this.#against = 0;
    else if (towards !== 0) this.#against = towards;
    else if (this.#against === 0) this.#against = this.#direction;
    if (this.#direction !== 0 && this.#options.stopOnPush && this.#against === this.#direction)
      this.stop(PUSHES);
  }

  get #stepDeg(): number {
    return Math.min((this.#options.speedDegS * STEP_EVERY_MS) / 1000, 1);
  }

  async #step(run: number): Promise<void> {
    const { clock, step } = this.#parts;
    const sentMs = clock.nowMs();
    this.#unanswered = true;
    this.#cancel = clock.after(HESITATION_MS, () => {
      if (run === this.#run) this.stop(HESITATED);
    });
    let answer: { target: number; limited: boolean };
    try {
      answer = await step(this.#stepDeg * this.#direction);
    } catch (error) {
      if (run === this.#run) this.stop((error as Error).message);
      return;
    } finally {
      this.#unanswered = false;
    }
    if (run !== this.#run) return;
    this.#cancel();
    this.#targetDeg = answer.target;
    // A page that was held up hears of the answer before it hears of its timer.
    if (clock.nowMs() - sentMs > HESITATION_MS) this.stop(HESITATED);
    else if (answer.limited) this.stop(ENDS);
    else this.#wait(run, sentMs + STEP_EVERY_MS);
  }

  #wait(run: number, dueMs: number): void {
    const { clock, positionDeg } = this.#parts;
    this.#cancel = clock.after(Math.max(0, dueMs - clock.nowMs()), () => {
      if (run !== this.#run) return;
      const nowMs = clock.nowMs();
      const behindDeg = Math.abs(this.#targetDeg - positionDeg());
      if (nowMs - dueMs > HESITATION_MS) this.stop(HESITATED);
      else if (behindDeg > STEPS_BEHIND * this.#stepDeg) this.#wait(run, nowMs + STEP_EVERY_MS);
      else void this.#step(run);
    });
  }
}
