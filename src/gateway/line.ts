import { availableParallelism } from 'node:os';
import { deserialize, serialize } from 'node:v8';
import { type MessagePort, receiveMessageOnPort } from 'node:worker_threads';
import type { ToCore, ToGateway } from '../core/requests.ts';
import { Ring } from '../shared/ring.ts';
import type { CorePort } from './core-link.ts';

/**
 * The way from gateway to core. A message through a port wakes the main thread while the sender still has
 * the port's lock: on one processor the main thread then waits for it, in the middle of a tick's time, until
 * it is the gateway's turn again. So requests lie in a ring, at which the core looks after every tick; with
 * a processor for each it is woken for them as well. A stop waits for no tick: it goes through the port.
 */

const RING_BYTES = 256 * 1024;
/** A longer message goes through the port, so that the core need not read it. */
const LONG_BYTES = 16 * 1024;
/** How soon a message that found no room is tried again (ms). */
const RETRY_MS = 2;
/** How many the core takes at once. */
const MAX_AT_ONCE = 64;

type Short = Exclude<ToCore, { t: 'listening' | 'cannot-listen' }>;
/** In the ring: the message itself, or that the next one is in the port. */
const IN_PORT = new Uint8Array();

/** In the port: look into the ring. */
const LOOK = null;

/** Answers to the start, which are sent while the core does not tick yet. */
const isAnswer = (message: ToCore): boolean =>
  message.t === 'listening' || message.t === 'cannot-listen';

const isStop = (message: ToCore): boolean => message.t === 'call' && message.method === 'stop';

/** Memory for the requests of the gateway. */
export function makeRing(): SharedArrayBuffer {
  return Ring.create(RING_BYTES);
}

/** The gateway's end. */
export class GatewayLine implements CorePort {
  readonly #port: MessagePort;
  readonly #ring: Ring;
  #waiting: Uint8Array[] = [];
  #timer: NodeJS.Timeout | undefined;
  readonly #wakes: boolean;

  constructor(port: MessagePort, ring: SharedArrayBuffer, wakes = availableParallelism() > 1) {
    this.#port = port;
    this.#ring = new Ring(ring);
    this.#wakes = wakes;
  }

  postMessage(message: ToCore): void {
    if (isAnswer(message) || isStop(message)) this.#port.postMessage(message);
    else {
      const bytes = serialize(message);
      if (bytes.length <= LONG_BYTES) this.#put(bytes);
      else {
        this.#port.postMessage(message);
        this.#put(IN_PORT);
      }
    }
  }

  on(event: 'message', listener: (message: ToGateway) => void): void {
    this.#port.on(event, listener);
  }

  #put(bytes: Uint8Array): void {
    if (this.#waiting.length > 0 || !this.#ring.put(bytes)) this.#waiting.push(bytes);
    if (this.#waiting.length > 0) this.#timer ??= setTimeout(() => this.#retry(), RETRY_MS);
    else if (this.#wakes) this.#port.postMessage(LOOK);
  }

  #retry(): void {
    this.#timer = undefined;
    let put = 0;
    while (put < this.#waiting.length && this.#ring.put(this.#waiting[put]!)) put++;
    this.#waiting = this.#waiting.slice(put);
    if (this.#waiting.length > 0) this.#timer = setTimeout(() => this.#retry(), RETRY_MS);
  }
}

/** The core's end. */
export class CoreLine {
  readonly #port: MessagePort;
  readonly #ring: Ring;
  readonly #heed: (message: Short) => void;
  readonly #long: Short[] = [];
  readonly #stops: Short[] = [];

  /** @param answered what comes of the start */
  constructor(
    port: MessagePort,
    ring: SharedArrayBuffer,
    heed: (message: Short) => void,
    answered: (answer: Exclude<ToCore, Short>) => void,
  ) {
    this.#port = port;
    this.#ring = new Ring(ring);
    this.#heed = heed;
    port.on('message', (message: ToCore | typeof LOOK) => {
      if (message === LOOK) this.receive();
      else if (isAnswer(message)) answered(message as Exclude<ToCore, Short>);
      else if (isStop(message)) this.#stop(message as Short);
      else this.#long.push(message as Short);
    });
  }

  /** Once a tick. */
  receive(most = MAX_AT_ONCE): void {
    for (let left = most; left > 0; left--) {
      const bytes = this.#ring.take();
      if (!bytes) break;
      const message = bytes.length > 0 ? (deserialize(bytes) as Short) : this.#nextLong();
      if (message) this.#heed(message);
    }
    for (const stop of this.#stops.splice(0)) this.#stop(stop);
  }

  /** The gateway is gone. What it said last counts: that may be a stop. */
  receiveRest(): void {
    let long = this.#fetch();
    while (long) {
      this.#long.push(long);
      long = this.#fetch();
    }
    this.receive(Number.POSITIVE_INFINITY);
  }

  /** All before it is heard first: that its session was opened may still lie in the ring. */
  #stop(stop: Short): void {
    this.receive(Number.POSITIVE_INFINITY);
    this.#heed(stop);
  }

  /** The next long message, which the event loop may not have handed on yet. */
  #nextLong(): Short | undefined {
    return this.#long.shift() ?? this.#fetch();
  }

  /** A long message from the port; stops that lie before it are put aside. */
  #fetch(): Short | undefined {
    for (;;) {
      const found = receiveMessageOnPort(this.#port);
      if (!found) return undefined;
      if (found.message === LOOK) continue;
      if (!isStop(found.message)) return found.message;
      this.#stops.push(found.message);
    }
  }
}
