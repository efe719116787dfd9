/** What waits, by session: one of each in rotation, and each session's in the order it came. */
export class Rotation<T> {
  readonly #waiting = new Map<string, T[]>();

  get isEmpty(): boolean {
    return this.#waiting.size === 0;
  }

  /** How many of this session wait. */
  count(session: string): number {
    return this.#waiting.get(session)?.length ?? 0;
  }

  add(session: string, item: T): void {
    const queue = this.#waiting.get(session);
    if (queue) queue.push(item);
    else this.#waiting.set(session, [item]);
  }

  /** Takes out the next one, if any waits. */
  next(): T | undefined {
    const first = this.#waiting.entries().next();
    if (first.done) return undefined;
    const [session, queue] = first.value;
    const item = queue.shift();
    // A map keeps the order of insertion: put in again, the session is the last.
    this.#waiting.delete(session);
    if (queue.length > 0) this.#waiting.set(session, queue);
    return item;
  }

  /** Forgets what this session waits for. */
  drop(session: string): void {
    this.#waiting.delete(session);
  }
}
