import type { Worker } from 'node:worker_threads';
import { Backoff } from '../shared/backoff.ts';
import { endThread } from '../shared/end-thread.ts';
import { LineIn, makeRing } from '../shared/line.ts';
import { spawnForNetwork, watchThread } from '../shared/network-thread.ts';
import type { Facts, FromLink, LinkStart, PropState, ToLink } from './protocol.ts';

/** How many messages a tick takes. */
const MAX_AT_ONCE = 16;

interface ShowEvents {
  message(message: FromLink): void;
  /** The thread ended; a new one is on its way, or none where `retryMs` is null: the prop has no show any more. */
  died(why: string, retryMs: number | null): void;
}

/** The show's thread as the main thread sees it: started, and started again when it dies. Nothing in here waits. */
export class ShowHost {
  readonly #version: string;
  readonly #events: ShowEvents;
  readonly #spawn: (start: LinkStart) => Worker;
  readonly #backoff = new Backoff();
  #facts: Facts | undefined;
  #state: PropState | undefined;
  #worker: Worker | undefined;
  #line: LineIn<FromLink> | undefined;
  #timer: NodeJS.Timeout | undefined;
  #closing = false;

  /** @param version of the program */
  constructor(version: string, events: ShowEvents, spawn = spawnShow) {
    this.#version = version;
    this.#events = events;
    this.#spawn = spawn;
  }

  /** What the prop is from now on. Another broker, name or group needs another thread; no show needs none. */
  follow(facts: Facts | undefined): void {
    const before = this.#facts;
    this.#facts = facts;
    if (this.#closing) return;
    if (JSON.stringify(before?.show) === JSON.stringify(facts?.show)) {
      if (facts) this.#post({ t: 'facts', facts });
      return;
    }
    clearTimeout(this.#timer);
    this.#timer = undefined;
    // One that runs ends first: two threads of one prop would push each other off the broker.
    if (this.#worker) void this.#end();
    else if (facts) this.#begin();
  }

  /** What the prop does. */
  tell(state: PropState): void {
    this.#state = state;
    this.#post({ t: 'state', state });
  }

  answer(answer: Omit<Extract<ToLink, { t: 'answer' }>, 't'>): void {
    this.#post({ t: 'answer', ...answer });
  }

  /** Hears what the thread has said since. Once a tick. */
  receive(): void {
    this.#receive(MAX_AT_ONCE);
  }

  #receive(most: number): void {
    for (let left = most; left > 0; left--) {
      const message = this.#line?.take();
      if (!message) break;
      this.#events.message(message);
    }
  }

  /** Says goodbye to the broker, within a second. */
  async close(): Promise<void> {
    this.#closing = true;
    clearTimeout(this.#timer);
    await this.#end();
  }

  #post(message: ToLink): void {
    this.#worker?.postMessage(message);
  }

  async #end(): Promise<void> {
    const worker = this.#worker;
    if (worker) await endThread(worker, () => this.#post({ t: 'close' }));
  }

  #begin(): void {
    const facts = this.#facts!;
    const ring = makeRing();
    const beat = new SharedArrayBuffer(4);
    const startedMs = performance.now();
    const worker = this.#spawn({ facts, version: this.#version, ring, beat });
    this.#worker = worker;
    const line = new LineIn<FromLink>(ring);
    this.#line = line;
    worker.on('message', (message: FromLink) => line.arrived(message));
    if (this.#state) this.tell(this.#state);
    watchThread(worker, beat, (why) => {
      // What it said last counts: that may be a stop.
      this.#receive(Number.POSITIVE_INFINITY);
      this.#worker = undefined;
      this.#line = undefined;
      if (this.#closing) return;
      const same = JSON.stringify(this.#facts?.show) === JSON.stringify(facts.show);
      const pauseMs = same ? this.#backoff.next(performance.now() - startedMs) : 0;
      const retryMs = this.#facts ? pauseMs : null;
      this.#events.died(same ? why : 'the show in the prop file has changed', retryMs);
      if (retryMs !== null) this.#timer = setTimeout(() => this.#begin(), retryMs);
    });
  }
}

function spawnShow(start: LinkStart): Worker {
  return spawnForNetwork(new URL('./show-worker.js', import.meta.url), 'show', start);
}
