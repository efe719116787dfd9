import type { Result } from '../../api/methods.ts';
import type { Clock } from '../../shared/clock.ts';
import { HESITATED, HESITATION_MS, STEP_EVERY_MS } from './hold.ts';

/** What a measurement has come to. */
export type MeasureState = Result<'measure.hold'>;

interface MeasureParts {
  clock: Pick<Clock, 'nowMs' | 'after'>;
  begin(): Promise<MeasureState>;
  hold(run: number): Promise<MeasureState>;
  release(run: number): Promise<MeasureState>;
  /** Called with each answer, and when the button no longer counts; `why` is for a person. */
  changed(state: MeasureState | undefined, held: boolean, why: string): void;
}

/**
 * Hold-to-run of a measurement: signs that somebody holds the button go on only while every answer comes in
 * time. Whatever ends it, the daemon ends it too, at the latest when no sign has come for a quarter of a
 * second; nothing that comes late starts it again.
 */
export class MeasureHold {
  readonly #parts: MeasureParts;
  /** Counts up with every press and stop: what belongs to an earlier one is void. */
  #press = 0;
  #held = false;
  #unanswered = false;
  #run: number | undefined;
  #cancel: () => void = () => {};

  constructor(parts: MeasureParts) {
    this.#parts = parts;
  }

  get held(): boolean {
    return this.#held;
  }

  /** The button goes down; does nothing while it is down, or an answer is still to come. */
  press(): void {
    if (this.#held || this.#unanswered) return;
    this.#held = true;
    this.#run = undefined;
    this.#parts.changed(undefined, true, '');
    void this.#ask(++this.#press, () => this.#parts.begin());
  }

  /** The button goes up, or anything else that must end it; does nothing when it rests. */
  stop(why = ''): void {
    if (!this.#held) return;
    this.#end(why);
    if (this.#run !== undefined) void this.#release(this.#run, why);
  }

  #end(why: string): void {
    this.#press++;
    this.#held = false;
    this.#cancel();
    this.#parts.changed(undefined, false, why);
  }

  async #release(run: number, why = ''): Promise<void> {
    const press = this.#press;
    try {
      const state = await this.#parts.release(run);
      if (press === this.#press) this.#parts.changed(state, false, why);
    } catch {
      // Without a sign the daemon ends it by itself.
    }
  }

  async #ask(press: number, ask: () => Promise<MeasureState>): Promise<void> {
    const { clock } = this.#parts;
    const sentMs = clock.nowMs();
    this.#unanswered = true;
    this.#cancel = clock.after(HESITATION_MS, () => {
      if (press === this.#press) this.stop(HESITATED);
    });
    let state: MeasureState;
    try {
      state = await ask();
    } catch (error) {
      if (press === this.#press) this.#end((error as Error).message);
      return;
    } finally {
      this.#unanswered = false;
    }
    if (press !== this.#press) {
      // It was released before it had begun.
      if (state.running) void this.#release(state.run);
      return;
    }
    this.#cancel();
    this.#run = state.run;
    this.#parts.changed(state, state.running, '');
    if (!state.running) {
      this.#press++;
      this.#held = false;
    } else if (clock.nowMs() - sentMs > HESITATION_MS) this.stop(HESITATED);
    else this.#wait(press, state.run, sentMs + STEP_EVERY_MS);
  }

  #wait(press: number, run: number, dueMs: number): void {
    const { clock } = this.#parts;
    this.#cancel = clock.after(Math.max(0, dueMs - clock.nowMs()), () => {
      if (press !== this.#press) return;
      if (clock.nowMs() - dueMs > HESITATION_MS) this.stop(HESITATED);
      else void this.#ask(press, () => this.#parts.hold(run));
    });
  }
}
