/**
 * Requests waiting for the core: one in each turn of the event loop, the sessions in rotation. However
 * many come at once, a tick that falls due waits for one of them at the most, and a session that asks
 * for little does not wait for one that asks for much.
 */
export class Turns {
  readonly #waiting = new Map<string, (() => void)[]>();
  /** Something was done in this turn of the event loop. */
  #taken = false;

  /** Does `work` in its turn, which may be now; the work of one session keeps its order. */
  add(session: string, work: () => void): void {
    if (!this.#taken) {
      this.#take(work);
      return;
    }
    const queue = this.#waiting.get(session);
    if (queue) queue.push(work);
    else this.#waiting.set(session, [work]);
  }

  #take(work: () => void): void {
    this.#taken = true;
    setImmediate(this.#next);
    work();
  }

  readonly #next = (): void => {
    this.#taken = false;
    const first = this.#waiting.entries().next();
    if (first.done) return;
    const [session, queue] = first.value;
    const work = queue.shift()!;
    // A map keeps the order of insertion: put in again, the session is the last.
    this.#waiting.delete(session);
    if (queue.length > 0) this.#waiting.set(session, queue);
    this.#take(work);
  };
}
