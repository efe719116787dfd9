import { availableParallelism } from 'node:os';
import { type MessagePort, receiveMessageOnPort } from 'node:worker_threads';
import type { ToCore, ToGateway } from '../core/requests.ts';
import { LineIn, LineOut } from '../shared/line.ts';
import type { CorePort } from './core-link.ts';

/**
 * The way from gateway to core: a line (`shared/line.ts`), at which the core looks after every tick; with a
 * processor for each thread it is woken for requests as well. A stop waits for no tick: it goes through the
 * port.
 */

/** How many the core takes at once. */
const MAX_AT_ONCE = 64;

type Short = Exclude<ToCore, { t: 'listening' | 'cannot-listen' }>;
/** In the port: look into the ring. */
const LOOK = null;

/** Answers to the start, which are sent while the core does not tick yet. */
const isAnswer = (message: ToCore): boolean =>
  message.t === 'listening' || message.t === 'cannot-listen';

const isStop = (message: ToCore): boolean => message.t === 'call' && message.method === 'stop';

/** The gateway's end. */
export class GatewayLine implements CorePort {
  readonly #port: MessagePort;
  readonly #out: LineOut<ToCore>;

  constructor(port: MessagePort, ring: SharedArrayBuffer, wakes = availableParallelism() > 1) {
    this.#port = port;
    this.#out = new LineOut(
      ring,
      (message) => port.postMessage(message),
      () => {
        if (wakes) port.postMessage(LOOK);
      },
    );
  }

  postMessage(message: ToCore): void {
    if (isAnswer(message) || isStop(message)) this.#port.postMessage(message);
    else this.#out.send(message);
  }

  on(event: 'message', listener: (message: ToGateway) => void): void {
    this.#port.on(event, listener);
  }
}

/** The core's end. */
export class CoreLine {
  readonly #port: MessagePort;
  readonly #in: LineIn<Short>;
  readonly #heed: (message: Short) => void;
  readonly #stops: Short[] = [];

  /** @param answered what comes of the start */
  constructor(
    port: MessagePort,
    ring: SharedArrayBuffer,
    heed: (message: Short) => void,
    answered: (answer: Exclude<ToCore, Short>) => void,
  ) {
    this.#port = port;
    this.#in = new LineIn(ring, () => this.#fetch());
    this.#heed = heed;
    port.on('message', (message: ToCore | typeof LOOK) => {
      if (message === LOOK) this.receive();
      else if (isAnswer(message)) answered(message as Exclude<ToCore, Short>);
      else if (isStop(message)) this.#stop(message as Short);
      else this.#in.arrived(message as Short);
    });
  }

  /** Once a tick. */
  receive(most = MAX_AT_ONCE): void {
    for (let left = most; left > 0; left--) {
      const message = this.#in.take();
      if (!message) break;
      this.#heed(message);
    }
    for (const stop of this.#stops.splice(0)) this.#stop(stop);
  }

  /** The gateway is gone. What it said last counts: that may be a stop. */
  receiveRest(): void {
    let long = this.#fetch();
    while (long) {
      this.#in.arrived(long);
      long = this.#fetch();
    }
    this.receive(Number.POSITIVE_INFINITY);
  }

  /** All before it is heard first: that its session was opened may still lie in the ring. */
  #stop(stop: Short): void {
    this.receive(Number.POSITIVE_INFINITY);
    this.#heed(stop);
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
