import { deserialize, serialize } from 'node:v8';
import { Ring } from './ring.ts';

/**
 * One way from one thread to another. A message through a port wakes the thread that receives it while the
 * sender still has the port's lock: on one processor the receiver then waits for that lock until it is the
 * sender's turn again, which may be in the middle of a tick's time. So messages lie in a ring, at which the
 * receiver looks when it has the time; only long ones go through the port.
 */

const RING_BYTES = 256 * 1024;
/** A longer message goes through the port, so that the receiver need not read it. */
const LONG_BYTES = 16 * 1024;
/** How soon a message that found no room is tried again (ms). */
const RETRY_MS = 2;
/** In the ring: the next message is in the port. */
const IN_PORT = new Uint8Array();

/** Memory for a line. */
export function makeRing(): SharedArrayBuffer {
  return Ring.create(RING_BYTES);
}

/** The sender's end. */
export class LineOut<T> {
  readonly #ring: Ring;
  readonly #post: (message: T, handOver: ArrayBuffer[]) => void;
  readonly #onPut: () => void;
  #waiting: Uint8Array[] = [];
  #timer: NodeJS.Timeout | undefined;

  /**
   * @param post sends a long message through the port
   * @param onPut after each message that found room
   */
  constructor(
    ring: SharedArrayBuffer,
    post: (message: T, handOver: ArrayBuffer[]) => void,
    onPut: () => void = () => {},
  ) {
    this.#ring = new Ring(ring);
    this.#post = post;
    this.#onPut = onPut;
  }

  /** @param handOver buffers in it that may go with it */
  send(message: T, handOver: ArrayBuffer[] = []): void {
    const bytes = serialize(message);
    if (bytes.length <= LONG_BYTES) this.#put(bytes);
    else {
      this.#post(message, handOver);
      this.#put(IN_PORT);
    }
  }

  #put(bytes: Uint8Array): void {
    if (this.#waiting.length > 0 || !this.#ring.put(bytes)) this.#waiting.push(bytes);
    if (this.#waiting.length > 0) this.#timer ??= setTimeout(() => this.#retry(), RETRY_MS);
    else this.#onPut();
  }

  #retry(): void {
    this.#timer = undefined;
    let put = 0;
    while (put < this.#waiting.length && this.#ring.put(this.#waiting[put]!)) put++;
    this.#waiting = this.#waiting.slice(put);
    if (this.#waiting.length > 0) this.#timer = setTimeout(() => this.#retry(), RETRY_MS);
  }
}

/** The receiver's end. */
export class LineIn<T> {
  readonly #ring: Ring;
  readonly #fetch: () => T | undefined;
  readonly #long: T[] = [];
  /** The next message is a long one that has not come yet. */
  #waits = false;

  /** @param fetch a long message that the event loop has not handed on yet, where the port can be asked */
  constructor(ring: SharedArrayBuffer, fetch: () => T | undefined = () => undefined) {
    this.#ring = new Ring(ring);
    this.#fetch = fetch;
  }

  /** A long message came through the port. */
  arrived(message: T): void {
    this.#long.push(message);
  }

  /** The next message, in the order in which they were sent. */
  take(): T | undefined {
    if (!this.#waits) {
      const bytes = this.#ring.take();
      if (!bytes) return undefined;
      if (bytes.length > 0) return deserialize(bytes) as T;
    }
    const long = this.#long.shift() ?? this.#fetch();
    this.#waits = long === undefined;
    return long;
  }
}
