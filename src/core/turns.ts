/**
 * Requests waiting for the core: one in each turn of the event loop, the sessions in rotation. However
 * many come at once, a tick that falls due waits for one of them at the most, and a session that asks
 * for little does not wait for one that asks for much.
 */
export class Turns {
  readonly #waiting = new Map<string, (() => void)[]>();
  #scheduled = false;

  /** Does `work` in its turn; the work of one session keeps its order. */
  add(session: string, work: () => void): void {
    const queue = this.#waiting.get(session);
    if (queue) queue.push(work);
    else this.#waiting.set(session, [work]);
    this.#schedule();
  }

  #schedule(): void {
    if (this.#scheduled) return;
    this.#scheduled = true;
    setImmediate(this.#next);
  }

  readonly #next = (): void => {
    this.#scheduled = false;
    const [session, queue] = this.#waiting.entries().next().value!;
    const work = queue.shift()!;
    // A map keeps the order of insertion: put in anew, the session is the last.
    this.#waiting.delete(session);
    if (queue.length > 0) this.#waiting.set(session, queue);
    if (this.#waiting.size > 0) this.#schedule();
    work();
  };
}
