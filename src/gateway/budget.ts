import { Worker } from 'node:worker_threads';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { BudgetAnswer, BudgetQuestion } from './budget-answer.ts';

/** Asks for the budget of the prop file. */
export interface BudgetDesk {
  ask(question: BudgetQuestion): Promise<object>;
  close(): Promise<void>;
}

/** Questions that may wait for their answer, of all sessions together. */
const WAITING_LIMIT = 16;
/** The thread is given up when nobody has asked for this long (ms). */
const IDLE_MS = 60_000;

/**
 * Budgets and rehearsals are reckoned in a thread of their own, which lives only while it is asked:
 * they take seconds, and neither the core nor the signs of life of the sessions may wait for them.
 */
export class BudgetThread implements BudgetDesk {
  readonly #file: string;
  readonly #clock: Clock;
  readonly #waiting: { resolve: (result: object) => void; reject: (error: Error) => void }[] = [];
  #worker: Worker | undefined;
  #stopTimer: () => void = () => {};

  constructor(file: string, clock: Clock) {
    this.#file = file;
    this.#clock = clock;
  }

  ask(question: BudgetQuestion): Promise<object> {
    if (this.#waiting.length >= WAITING_LIMIT) {
      const reason = `${WAITING_LIMIT} budgets are being reckoned; ask again when they are done`;
      return Promise.reject(new Refusal('tooMany', reason, { limit: WAITING_LIMIT }));
    }
    this.#stopTimer();
    const worker = this.#running();
    return new Promise((resolve, reject) => {
      this.#waiting.push({ resolve, reject });
      worker.postMessage(question);
    });
  }

  async close(): Promise<void> {
    this.#stopTimer();
    await this.#worker?.terminate();
  }

  #running(): Worker {
    if (this.#worker) return this.#worker;
    const worker = new Worker(new URL('./budget-worker.js', import.meta.url), {
      workerData: this.#file,
      name: 'budget',
    });
    worker.on('message', (answer: BudgetAnswer) => {
      const asked = this.#waiting.shift();
      if ('result' in answer) asked?.resolve(answer.result);
      else asked?.reject(new Refusal(answer.kind, answer.reason, answer.values));
      if (this.#waiting.length > 0) return;
      this.#stopTimer = this.#clock.after(IDLE_MS, () => {
        this.#worker = undefined;
        void worker.terminate();
      });
    });
    let cause = new Error('the thread that reckons budgets ended');
    worker.on('error', (error) => {
      cause = error;
    });
    worker.on('exit', () => {
      // One that was given up has nobody waiting.
      if (this.#worker !== worker) return;
      this.#worker = undefined;
      for (const { reject } of this.#waiting.splice(0)) reject(cause);
    });
    worker.unref();
    this.#worker = worker;
    return worker;
  }
}
