import { Worker } from 'node:worker_threads';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { PlannerAnswer } from './planner-answer.ts';
import type { PlannerQuestion } from './planner-question.ts';

/** Works out what takes long. */
export interface PlannerPort {
  /**
   * @param session what it waits for is dropped when it is gone
   * @throws Refusal
   */
  ask(session: string, question: PlannerQuestion): Promise<object>;
  gone(session: string): void;
  close(): Promise<void>;
}

/** Questions that may wait for their answer, of all sessions together. */
const WAITING_LIMIT = 16;
/** The thread is given up when nobody has asked for this long (ms). */
const IDLE_MS = 20_000;
/** Larger questions end the thread, and not the daemon (MB). */
const LIMITS = { maxOldGenerationSizeMb: 32, maxYoungGenerationSizeMb: 4 };

interface Waiting {
  session: string;
  question: PlannerQuestion;
  resolve: (result: object) => void;
  reject: (error: Error) => void;
}

type Spawn = () => Worker;

const spawnWorker: Spawn = () =>
  new Worker(new URL('./planner.js', import.meta.url), {
    name: 'planner',
    resourceLimits: LIMITS,
  });

/**
 * Checks, budgets and rehearsals are worked out in a thread of their own, which lives only while it is
 * asked: they take seconds and memory, which must not be taken from the other threads.
 */
export class PlannerThread implements PlannerPort {
  readonly #clock: Clock;
  readonly #spawn: Spawn;
  /** The first one is being worked out. */
  readonly #waiting: Waiting[] = [];
  #worker: Worker | undefined;
  #stopTimer: () => void = () => {};

  constructor(clock: Clock, spawn: Spawn = spawnWorker) {
    this.#clock = clock;
    this.#spawn = spawn;
  }

  ask(session: string, question: PlannerQuestion): Promise<object> {
    if (question.about === 'cue-rehearsal') this.#supersede(session);
    if (this.#waiting.length >= WAITING_LIMIT) {
      const reason = `${WAITING_LIMIT} checks and budgets wait already; ask again when they are done`;
      return Promise.reject(new Refusal('service.busy', reason, { limit: WAITING_LIMIT }));
    }
    return new Promise((resolve, reject) => {
      this.#waiting.push({ session, question, resolve, reject });
      if (this.#waiting.length === 1) this.#begin();
    });
  }

  /** A rehearsal that waits is of steps that have been edited since. */
  #supersede(session: string): void {
    const reason = 'a newer rehearsal was asked for, and is answered instead';
    for (let at = this.#waiting.length - 1; at > 0; at--) {
      const { session: owner, question, reject } = this.#waiting[at]!;
      if (owner !== session || question.about !== 'cue-rehearsal') continue;
      this.#waiting.splice(at, 1);
      reject(new Refusal('cue.newer-question', reason));
    }
  }

  gone(session: string): void {
    const reason = 'the session is gone';
    for (let at = this.#waiting.length - 1; at >= 0; at--) {
      const { session: owner, reject } = this.#waiting[at]!;
      if (owner !== session) continue;
      if (at > 0) this.#waiting.splice(at, 1);
      // What nobody waits for any more may take minutes.
      else if (this.#waiting.length > 0) this.#abandon();
      reject(new Refusal('session.gone', reason));
    }
  }

  async close(): Promise<void> {
    this.#stopTimer();
    const worker = this.#worker;
    this.#worker = undefined;
    await worker?.terminate();
  }

  #begin(): void {
    this.#stopTimer();
    const next = this.#waiting[0];
    if (next) {
      this.#running().postMessage(next.question);
      return;
    }
    this.#stopTimer = this.#clock.after(IDLE_MS, () => void this.close());
  }

  /** Ends the thread in the middle of the first question. */
  #abandon(): void {
    this.#waiting.shift();
    void this.close();
    this.#begin();
  }

  #running(): Worker {
    if (this.#worker) return this.#worker;
    const worker = this.#spawn();
    worker.on('message', (answer: PlannerAnswer) => {
      if (this.#worker !== worker) return;
      const asked = this.#waiting.shift();
      if ('result' in answer) asked?.resolve(answer.result);
      else asked?.reject(new Refusal(answer.code, answer.reason, answer.values));
      this.#begin();
    });
    let cause: Error = new Error('the thread that works out budgets ended');
    worker.on('error', (error) => {
      cause = error;
    });
    worker.on('exit', () => {
      // One that was given up has nobody waiting.
      if (this.#worker !== worker) return;
      this.#worker = undefined;
      const asked = this.#waiting.shift();
      asked?.reject(refusalFor(cause, asked.question));
      this.#begin();
    });
    worker.unref();
    this.#worker = worker;
    return worker;
  }
}

const BUDGET_ON_A_LAPTOP = 'do it on a laptop: sinew budget FILE, or sinew check FILE';

/** What to say when it takes too much memory, and what to do instead, where that is not the usual. */
const TOO_MUCH: Partial<Record<PlannerQuestion['about'], { what?: string; instead?: string }>> = {
  cue: { what: 'rehearsing this cue' },
  'cue-rehearsal': { what: 'rehearsing this cue' },
  rehearsal: { what: 'rehearsing this prop' },
  difference: {
    instead: 'compare the files on the board: the versions are beside the prop file',
  },
  fix: { instead: 'do it on a laptop: sinew check FILE --fix' },
};

function refusalFor(cause: Error, { about }: PlannerQuestion): Error {
  if ((cause as NodeJS.ErrnoException).code !== 'ERR_WORKER_OUT_OF_MEMORY') return cause;
  if (about === 'picture')
    return new Refusal(
      'picture.unsafe',
      'the drawing has more parts than the daemon has memory for; simplify it, or save it as PNG',
    );
  const { what = 'working this out', instead = BUDGET_ON_A_LAPTOP } = TOO_MUCH[about] ?? {};
  return new Refusal(
    'service.memory',
    `${what} needs more memory than the daemon may take (${LIMITS.maxOldGenerationSizeMb} MB); ${instead}`,
    { limitMb: LIMITS.maxOldGenerationSizeMb },
  );
}
