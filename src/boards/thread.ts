import { Worker } from 'node:worker_threads';

/** What a thread does; see board-worker.ts. */
export type ThreadWork =
  | { kind: 'i2c'; bus: number }
  | { kind: 'pins'; places: PinsPlaces | undefined };

/** Paths of the kernel's interfaces. */
export interface PinsPlaces {
  /** /dev */
  devices: string;
  /** /sys/class/pwm */
  pwmFolder: string;
  /** The file that has `ioctl`; default: the C library. */
  ioctlLibrary?: string;
}

/** Heap limits of such a thread: old and young generation (MB). */
const OLD_MB = 16;
const YOUNG_MB = 1;

interface ThreadEvents<Reply> {
  message(reply: Reply): void;
  /** It ended, which it never does by itself; no replies follow. */
  ended(cause: Error): void;
}

/**
 * A thread for calls that may hang. Once loaded, it does not use libuv's pool, and it does not keep the
 * program running. A call that hangs blocks `process.exit`, which waits for every thread, but neither
 * `terminate` nor anything else here.
 */
export class BoardThread<Call, Reply> {
  /** Why it ended; undefined while it lives. */
  ended: Error | undefined;
  readonly #worker: Worker;

  constructor(
    work: ThreadWork,
    name: string,
    file: URL = new URL('./board-worker.js', import.meta.url),
    events: ThreadEvents<Reply>,
  ) {
    this.#worker = new Worker(file, {
      name,
      workerData: work,
      // Descriptors of GPIO lines come from the kernel, so Node would warn about each.
      trackUnmanagedFds: false,
      resourceLimits: { maxOldGenerationSizeMb: OLD_MB, maxYoungGenerationSizeMb: YOUNG_MB },
    });
    let cause = 'it ended by itself';
    this.#worker.on('message', (reply: Reply) => events.message(reply));
    this.#worker.on('error', (error) => {
      cause = error.message;
    });
    this.#worker.on('exit', () => {
      this.ended = new Error(`the thread of ${name} ended: ${cause}`);
      events.ended(this.ended);
    });
    this.#worker.unref();
  }

  post(call: Call): void {
    this.#worker.postMessage(call);
  }

  /** Ends it; not waited for, as a call may hang. */
  end(): void {
    void this.#worker.terminate();
  }
}
