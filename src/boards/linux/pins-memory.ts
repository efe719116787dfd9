/** Indices of the 32-bit numbers that the main thread and the pins' thread share. */
const AT = {
  /** Even when the frame is complete; each new frame has another number. The thread sleeps on it. */
  frame: 0,
  /** The frame that was last written to the pins. */
  applied: 1,
  /** Cycles of the thread; it does not rise while a call hangs. */
  passes: 2,
  order: 3,
  failed: 4,
  /** Levels of the inputs, one bit each. */
  levels: 5,
  /** When they were read (ms, monotonic, modulo 2^32). */
  levelsMs: 7,
  /** How often they were read. */
  samples: 8,
  /** When the core last asked for a level (us, monotonic, modulo 2^32). */
  askedUs: 9,
  count: 10,
} as const;
const TEXT_BYTES = 1024;

/** What the core orders the pins' thread to do. */
export const ORDER = { run: 0, safe: 1, close: 2 } as const;
export type Order = (typeof ORDER)[keyof typeof ORDER];

/** Times of the monotonic clock that all threads share, modulo 2^32: subtract, then `| 0`. */
export function sharedNowMs(): number {
  const [s, ns] = process.hrtime();
  return (s * 1e3 + Math.trunc(ns / 1e6)) | 0;
}

/** As `sharedNowMs`, in us: it wraps around about every 71 minutes. */
export function sharedNowUs(): number {
  const [s, ns] = process.hrtime();
  return (s * 1e6 + Math.trunc(ns / 1e3)) | 0;
}

/**
 * The memory that the core's thread and a thread of pins share. Neither waits for the other: the newest
 * complete frame wins (a sequence lock), and levels carry the time at which they were read.
 */
export class PinsMemory {
  readonly buffer: SharedArrayBuffer;
  readonly #numbers: Int32Array;
  readonly #values: Float64Array;
  readonly #text: Uint8Array;

  constructor(outputs: number, buffer?: SharedArrayBuffer) {
    const valuesAt = AT.count * 4;
    const textAt = valuesAt + outputs * 8;
    this.buffer = buffer ?? new SharedArrayBuffer(textAt + TEXT_BYTES);
    this.#numbers = new Int32Array(this.buffer, 0, AT.count);
    this.#values = new Float64Array(this.buffer, valuesAt, outputs);
    this.#text = new Uint8Array(this.buffer, textAt, TEXT_BYTES);
  }

  // --- the core's side ----------------------------------------------------------------------------

  /** Changes the frame and wakes the thread. */
  put(change: (values: Float64Array) => void): void {
    Atomics.add(this.#numbers, AT.frame, 1);
    change(this.#values);
    Atomics.add(this.#numbers, AT.frame, 1);
    this.#wake();
  }

  order(order: Order): void {
    Atomics.store(this.#numbers, AT.order, order);
    // An equal frame with a new number, so that a thread about to sleep sees a change.
    Atomics.add(this.#numbers, AT.frame, 2);
    this.#wake();
  }

  #wake(): void {
    Atomics.notify(this.#numbers, AT.frame);
  }

  get behind(): boolean {
    return Atomics.load(this.#numbers, AT.applied) !== Atomics.load(this.#numbers, AT.frame);
  }

  get passes(): number {
    return Atomics.load(this.#numbers, AT.passes);
  }

  /** What has gone wrong in the thread. */
  get failure(): string | undefined {
    const length = Atomics.load(this.#numbers, AT.failed);
    if (length === 0) return undefined;
    return new TextDecoder().decode(Uint8Array.from(this.#text.subarray(0, length)));
  }

  level(input: number): 0 | 1 {
    Atomics.store(this.#numbers, AT.askedUs, sharedNowUs());
    return ((Atomics.load(this.#numbers, AT.levels + (input >> 5)) >> (input & 31)) & 1) as 0 | 1;
  }

  /** How long ago the levels were read (ms). */
  get levelsAgeMs(): number {
    return (sharedNowMs() - Atomics.load(this.#numbers, AT.levelsMs)) | 0;
  }

  /** How often they were read. */
  get samples(): number {
    return Atomics.load(this.#numbers, AT.samples);
  }

  /** Waits until levels are read again, at most `ms`. */
  awaitLevels(ms: number): void {
    Atomics.wait(this.#numbers, AT.samples, Atomics.load(this.#numbers, AT.samples), ms);
  }

  // --- the thread's side --------------------------------------------------------------------------

  get ordered(): Order {
    return Atomics.load(this.#numbers, AT.order) as Order;
  }

  /** Copies the newest frame; returns its number. */
  take(into: Float64Array): number {
    for (;;) {
      const frame = Atomics.load(this.#numbers, AT.frame);
      if (frame & 1) continue;
      into.set(this.#values);
      if (Atomics.load(this.#numbers, AT.frame) === frame) return frame;
    }
  }

  applied(frame: number): void {
    Atomics.store(this.#numbers, AT.applied, frame);
    Atomics.add(this.#numbers, AT.passes, 1);
  }

  /** @param levels one bit for each of up to 64 inputs. @param atMs by `sharedNowMs` */
  sampled(levels: Int32Array, atMs: number): void {
    for (const [word, bits] of levels.entries())
      Atomics.store(this.#numbers, AT.levels + word, bits);
    Atomics.store(this.#numbers, AT.levelsMs, atMs);
    Atomics.add(this.#numbers, AT.samples, 1);
    Atomics.notify(this.#numbers, AT.samples);
  }

  /** When the core last asked for a level (us, as `sharedNowUs`). */
  get askedUs(): number {
    return Atomics.load(this.#numbers, AT.askedUs);
  }

  fail(text: string): void {
    const bytes = new TextEncoder().encode(text || 'it failed').subarray(0, TEXT_BYTES);
    this.#text.set(bytes);
    Atomics.store(this.#numbers, AT.failed, bytes.length);
  }

  /** Sleeps until there is a frame after `frame`, at most `ms`. */
  sleep(frame: number, ms: number): void {
    Atomics.wait(this.#numbers, AT.frame, frame, ms);
  }
}
