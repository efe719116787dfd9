import { MessageChannel, type MessagePort, type Worker } from 'node:worker_threads';
import type { GatewayStart, ToCore, ToGateway } from '../core/requests.ts';
import { Backoff } from '../shared/backoff.ts';
import { endThread } from '../shared/end-thread.ts';
import { watchForHang } from '../shared/hang-watch.ts';
import { makeRing } from '../shared/line.ts';
import { Telemetry } from '../shared/telemetry.ts';
import { CoreLine } from './line.ts';
import { loadGateway } from './load.ts';

/** Lines of its output that are passed on while it lives; a thread that writes without end is cut short. */
const LINES_PASSED = 100;
const LONGEST_LINE = 1000;
/** A thread that lives and shows no beat for this long hangs (ms); it is looked at so often (ms). */
const HUNG_MS = 2000;
const LOOK_EVERY_MS = 200;

interface GatewayEvents {
  /** Everything but the two answers to the start. */
  message(message: Exclude<ToCore, { t: 'listening' | 'cannot-listen' }>): void;
  /** A thread was started: what it must know besides its start is to be posted now. */
  started(): void;
  /** The gateway's thread died, and every session with it; a new one is on its way. */
  died(why: string, retryMs: number): void;
  /** A line that the thread wrote on its standard output or error: a warning of Node, not our log. */
  wrote(line: string): void;
}

/** The gateway's thread as the main thread sees it: started, and started again when it dies. */
export class GatewayHost {
  readonly #start: () => GatewayStart;
  readonly #events: GatewayEvents;
  #loaded: Worker | undefined;
  #worker: Worker | undefined;
  #port: MessagePort | undefined;
  #line: CoreLine | undefined;
  readonly #backoff = new Backoff();
  #timer: NodeJS.Timeout | undefined;
  #unwatch = () => {};
  #closing = false;
  /** A gateway that is started again must come back at the same port. */
  #listening: number | undefined;

  /**
   * @param start what to start with, asked at each start: the prop may be another one by then, and the
   *   line to the prop-file service is given away with it
   * @param loaded by `loadGateway`, for the first start
   */
  constructor(start: () => GatewayStart, events: GatewayEvents, loaded: Worker) {
    this.#start = start;
    this.#events = events;
    this.#loaded = loaded;
  }

  /** Starts the thread; resolves with where it listens. @throws Error with the reason why it cannot */
  open(): Promise<{ host: string; port: number }> {
    return new Promise((resolve, reject) => {
      this.#spawn((answer) => {
        if (answer.t === 'listening') {
          this.#listening = answer.port;
          resolve(answer);
        } else {
          this.#closing = true;
          reject(new Error(answer.reason));
        }
      });
    });
  }

  /** Hands on what the gateway has sent since. Once a tick: the core may not have been woken for it. */
  onMessage(): void {
    this.#line?.receive();
  }

  /** @param transfer ports within the message, which go with it */
  post(message: ToGateway, transfer: readonly MessagePort[] = []): void {
    this.#port?.postMessage(message, transfer);
  }

  async close(): Promise<void> {
    this.#closing = true;
    this.#unwatch();
    clearTimeout(this.#timer);
    if (this.#worker) await endThread(this.#worker, () => this.post({ t: 'close' }));
  }

  /** Its output is read here and never piped: a terminal that is held must not hold this thread. */
  #listen(worker: Worker): void {
    let left = LINES_PASSED;
    for (const stream of [worker.stdout, worker.stderr]) {
      stream.on('data', (data: Buffer) => {
        for (const line of data.toString().split('\n')) {
          if (line.trim() === '' || left <= 0) continue;
          left--;
          this.#events.wrote(line.slice(0, LONGEST_LINE));
          if (left === 0) this.#events.wrote('what it writes from here on is dropped');
        }
      });
    }
  }

  #spawn(answered: (answer: Extract<ToCore, { t: 'listening' | 'cannot-listen' }>) => void): void {
    const worker = this.#loaded ?? loadGateway();
    this.#loaded = undefined;
    worker.ref();
    const { port1, port2 } = new MessageChannel();
    const startedMs = performance.now();
    let why = 'it ended by itself';
    this.#worker = worker;
    this.#port = port1;
    const start = this.#start();
    if (this.#listening !== undefined) start.port = this.#listening;
    const beats = new Telemetry(start.telemetry);
    const ring = makeRing();
    worker.postMessage({ start, port: port2, ring }, [port2, start.service]);
    this.#listen(worker);
    this.#events.started();
    const line = new CoreLine(port1, ring, this.#events.message, (answer) => {
      if (answer.t === 'cannot-listen') why = answer.reason;
      else if (!this.#closing)
        this.#unwatch = watchForHang({
          beat: () => beats.gatewayBeat,
          hungMs: HUNG_MS,
          lookEveryMs: LOOK_EVERY_MS,
          hung: (reason) => {
            why = reason;
            void worker.terminate();
          },
        });
      answered(answer);
    });
    this.#line = line;
    worker.on('error', (error) => {
      why = error.message;
    });
    worker.on('exit', () => {
      line.receiveRest();
      this.#worker = undefined;
      this.#port = undefined;
      this.#line = undefined;
      this.#unwatch();
      port1.close();
      if (this.#closing) return;
      const retryMs = this.#backoff.next(performance.now() - startedMs);
      this.#events.died(why, retryMs);
      this.#timer = setTimeout(() => this.#spawn(() => {}), retryMs);
    });
  }
}
