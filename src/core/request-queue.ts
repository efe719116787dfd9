import { Rotation } from '../shared/rotation.ts';

/**
 * Requests waiting for the core: one in each turn of the event loop, the sessions in rotation. However
 * many come at once, a tick that is due waits for at most one of them, and a session that asks
 * for little does not wait for one that asks for much.
 */
export class RequestQueue {
  readonly #waiting = new Rotation<() => void>();
  /** Something was done in this turn of the event loop. */
  #taken = false;

  /** Does `work` in its turn, which may be now; the work of one session keeps its order. */
  add(session: string, work: () => void): void {
    if (!this.#taken) {
      this.#take(work);
      return;
    }
    this.#waiting.add(session, work);
  }

  #take(work: () => void): void {
    this.#taken = true;
    setImmediate(this.#next);
    work();
  }

  readonly #next = (): void => {
    this.#taken = false;
    const work = this.#waiting.next();
    if (work) this.#take(work);
  };
}
