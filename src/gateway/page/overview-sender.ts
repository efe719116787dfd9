import { signal } from '@preact/signals';

/** Least time between two requests while a slider is dragged (ms). */
const MIN_MS = 100;
/** After the last answer, until the daemon's target is sure to have come back (ms). */
const SETTLE_MS = 200;

const sleep = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

/** Sends what a slider yields: one request in flight, at most ten a second, the last value wins. */
export class Sender<T> {
  /** While true, the slider shows what the hand asks for and not what the daemon reports. */
  readonly busy = signal(false);
  readonly #send: (value: T) => Promise<unknown>;
  #next: { value: T } | undefined;
  #running = false;

  constructor(send: (value: T) => Promise<unknown>) {
    this.#send = send;
  }

  push(value: T): void {
    this.#next = { value };
    if (!this.#running) void this.#run();
  }

  async #run(): Promise<void> {
    this.#running = true;
    this.busy.value = true;
    while (this.#next) {
      const { value } = this.#next;
      this.#next = undefined;
      await Promise.all([this.#send(value), sleep(MIN_MS)]);
    }
    this.#running = false;
    await sleep(SETTLE_MS);
    if (!this.#running) this.busy.value = false;
  }
}
