import { isDeepStrictEqual } from 'node:util';
import type { Worker } from 'node:worker_threads';
import type { ShowPageAnswer, ShowPageCommand } from '../api/show-page.ts';
import type { Show } from '../prop/schema.ts';
import { Backoff } from '../shared/backoff.ts';
import type { Clock } from '../shared/clock.ts';
import { endThread } from '../shared/end-thread.ts';
import { spawnForNetwork, watchThread } from '../shared/network-thread.ts';
import { PageRefusal } from './desk.ts';
import type { FromStage, StageStart, ToStage } from './protocol.ts';
import type { Stage } from './stage.ts';

/** The thread ends when no page has asked for so long (ms). */
const IDLE_MS = 15_000;
/** Questions that are not answered yet. A stop is asked all the same. */
const OPEN = 64;

interface Open {
  resolve(answer: never): void;
  reject(error: PageRefusal): void;
}

interface Thread {
  worker: Worker;
  startedMs: number;
  open: Map<number, Open>;
}

type Question = { t: 'read' } | { t: 'carry-out'; asked: ShowPageCommand };

/**
 * The show of the prop in use, for pages that the prop serves itself. What it takes, a connection to the broker
 * above all, runs in a thread of its own, and only while a page asks for it.
 */
export class StageHost implements Stage {
  readonly #clock: Clock;
  readonly #spawn: (start: StageStart) => Worker;
  readonly #backoff = new Backoff();
  #show: Show | undefined;
  #thread: Thread | undefined;
  readonly #ending = new Set<Promise<void>>();
  /** Why the last thread died, and when another may be started (ms). */
  #died: { why: string; retryAtMs: number } | undefined;
  #hasControl = false;
  #lastId = 0;
  #cancelIdle = () => {};

  constructor(clock: Clock, spawn = spawnStage) {
    this.#clock = clock;
    this.#spawn = spawn;
  }

  /** The show that the prop takes part in from now on. */
  follow(show: Show | undefined): void {
    if (isDeepStrictEqual(show, this.#show)) return;
    this.#show = show;
    this.#died = undefined;
    this.#end('the show in the prop file has changed');
  }

  read(): Promise<string> {
    return this.#ask({ t: 'read' });
  }

  carryOut(asked: ShowPageCommand): Promise<ShowPageAnswer> {
    return this.#ask({ t: 'carry-out', asked });
  }

  control(has: boolean): void {
    this.#hasControl = has;
    if (this.#thread) post(this.#thread, { t: 'control', has });
  }

  async close(): Promise<void> {
    this.#show = undefined;
    this.#end('the daemon ends');
    await Promise.all(this.#ending);
  }

  async #ask<T extends FromStage['answer']>(question: Question): Promise<T> {
    const show = this.#show;
    if (!show)
      throw new PageRefusal(
        404,
        'the file of this prop has no show: in it, so there is nothing to show here',
      );
    const { why, retryAtMs = 0 } = this.#died ?? {};
    if (!this.#thread && this.#clock.nowMs() < retryAtMs)
      throw new PageRefusal(503, `what connects this page to the show has ended (${why})`);
    this.#thread ??= this.#begin(show);
    const thread = this.#thread;
    this.#cancelIdle();
    this.#cancelIdle = this.#clock.after(IDLE_MS, () => this.#end('no page was open'));
    const isStop = question.t === 'carry-out' && question.asked.act === 'stop';
    if (thread.open.size >= OPEN && !isStop)
      throw new PageRefusal(429, `${OPEN} questions of pages are not answered yet`);
    const id = ++this.#lastId;
    return new Promise<T>((resolve, reject) => {
      thread.open.set(id, { resolve, reject });
      post(thread, { ...question, id });
    });
  }

  #begin(show: Show): Thread {
    const beat = new SharedArrayBuffer(4);
    const worker = this.#spawn({ show, beat });
    const thread: Thread = { worker, startedMs: this.#clock.nowMs(), open: new Map() };
    worker.on('message', ({ id, answer }: FromStage) => {
      thread.open.get(id)?.resolve(answer as never);
      thread.open.delete(id);
    });
    watchThread(worker, beat, (why) => {
      // One that was asked to end has been left already.
      if (thread !== this.#thread) return;
      const nowMs = this.#clock.nowMs();
      const retryAtMs = nowMs + this.#backoff.next(nowMs - thread.startedMs);
      this.#died = { why, retryAtMs };
      this.#leave(thread, why);
    });
    if (this.#hasControl) post(thread, { t: 'control', has: true });
    return thread;
  }

  #end(why: string): void {
    const thread = this.#thread;
    if (!thread) return;
    this.#leave(thread, why);
    const ended = endThread(thread.worker, () => post(thread, { t: 'close' }));
    this.#ending.add(ended);
    void ended.then(() => this.#ending.delete(ended));
  }

  /** Nobody waits for it any more. */
  #leave(thread: Thread, why: string): void {
    this.#thread = undefined;
    this.#cancelIdle();
    for (const { reject } of thread.open.values())
      reject(
        new PageRefusal(
          503,
          `what connects this page to the show has ended (${why}), and nobody knows what became of this`,
        ),
      );
    thread.open.clear();
  }
}

function post({ worker }: Thread, message: ToStage): void {
  worker.postMessage(message);
}

function spawnStage(start: StageStart): Worker {
  return spawnForNetwork(new URL('./show-page-worker.js', import.meta.url), 'show-page', start);
}
