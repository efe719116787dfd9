/** Looks once a tick: a value ends the wait, undefined goes on waiting, a throw refuses. */
type Poll<T> = () => T | undefined;

interface Wait {
  poll: Poll<unknown>;
  resolve: (value: unknown) => void;
  reject: (error: unknown) => void;
}

/** Promises that a tick settles: for callers that wait until a move has ended. */
export class Waits {
  #waiting: Wait[] = [];

  until<T>(poll: Poll<T>): Promise<T> {
    return new Promise<T>((resolve, reject) => {
      this.#waiting.push({ poll, resolve: resolve as (value: unknown) => void, reject });
    });
  }

  tick(): void {
    if (this.#waiting.length === 0) return;
    this.#waiting = this.#waiting.filter(({ poll, resolve, reject }) => {
      try {
        const value = poll();
        if (value === undefined) return true;
        resolve(value);
      } catch (error) {
        reject(error);
      }
      return false;
    });
  }
}
