/** Where the next message is put, and taken from (bytes since the start, modulo 2 ** 32). */
const TAIL = 0;
const HEAD = 1;
const MARKS_BYTES = 8;
const LENGTH_BYTES = 4;

/**
 * Messages in shared memory from one thread to another one, in their order. Neither takes a lock, nor wakes
 * the other one: who takes looks for himself.
 */
export class Ring {
  readonly #marks: Int32Array;
  readonly #bytes: Uint8Array;
  readonly #length = new DataView(new ArrayBuffer(LENGTH_BYTES));

  /** @param bytes room for messages, a power of 2 */
  static create(bytes: number): SharedArrayBuffer {
    return new SharedArrayBuffer(MARKS_BYTES + bytes);
  }

  constructor(shared: SharedArrayBuffer) {
    this.#marks = new Int32Array(shared, 0, 2);
    this.#bytes = new Uint8Array(shared, MARKS_BYTES);
  }

  /** Whether there was room; a message longer than `longest` never has any. */
  put(message: Uint8Array): boolean {
    const tail = Atomics.load(this.#marks, TAIL);
    const used = (tail - Atomics.load(this.#marks, HEAD)) >>> 0;
    const wanted = LENGTH_BYTES + message.length;
    if (used + wanted > this.#bytes.length) return false;
    this.#length.setUint32(0, message.length);
    this.#write(tail, new Uint8Array(this.#length.buffer));
    this.#write(tail + LENGTH_BYTES, message);
    Atomics.store(this.#marks, TAIL, (tail + wanted) | 0);
    return true;
  }

  /** The oldest message that was not taken. */
  take(): Uint8Array | undefined {
    const head = Atomics.load(this.#marks, HEAD);
    if (head === Atomics.load(this.#marks, TAIL)) return undefined;
    this.#read(head, new Uint8Array(this.#length.buffer));
    const message = new Uint8Array(this.#length.getUint32(0));
    this.#read(head + LENGTH_BYTES, message);
    Atomics.store(this.#marks, HEAD, (head + LENGTH_BYTES + message.length) | 0);
    return message;
  }

  #write(at: number, from: Uint8Array): void {
    const start = this.#place(at);
    const first = Math.min(from.length, this.#bytes.length - start);
    this.#bytes.set(from.subarray(0, first), start);
    this.#bytes.set(from.subarray(first), 0);
  }

  #read(at: number, into: Uint8Array): void {
    const start = this.#place(at);
    const first = Math.min(into.length, this.#bytes.length - start);
    into.set(this.#bytes.subarray(start, start + first));
    into.set(this.#bytes.subarray(0, into.length - first), first);
  }

  #place(at: number): number {
    return (at >>> 0) & (this.#bytes.length - 1);
  }
}
