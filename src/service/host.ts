import {
  MessageChannel,
  type MessagePort,
  receiveMessageOnPort,
  type Transferable,
  Worker,
} from 'node:worker_threads';
import type { Params, Result } from '../api/methods.ts';
import type { JournalEntry } from '../api/types.ts';
import type { TakeShown } from '../core/commands.ts';
import type { ChangeMessage, Outcome } from '../core/core-prop.ts';
import type { CuePassage, PassageAsked } from '../core/cue-passage.ts';
import type { Recording } from '../core/recorder.ts';
import type { Saved } from '../core/store.ts';
import type { CueChange } from '../prop/cue-change.ts';
import type { Edit } from '../prop/edit-text.ts';
import type { Author, FileStatus } from '../prop/file/status.ts';
import type { SafePlan } from '../safe/plan.ts';
import { Backoff } from '../shared/backoff.ts';
import { endThread } from '../shared/end-thread.ts';
import { type ErrorObject, Refusal } from '../shared/errors.ts';
import { LineIn, makeRing } from '../shared/line.ts';
import type { TelemetryBuffers } from '../shared/telemetry.ts';
import { withResolvers } from '../shared/with-resolvers.ts';
import {
  type FromService,
  isAnswerToStart,
  type LogLevel,
  type Opened,
  type ServiceEvent,
  type ServiceStart,
  type ToService,
} from './protocol.ts';
import type { WornChannel } from './wear-book.ts';
import type { WearSum } from './wear-sum.ts';

/** Log lines kept for the next thread while there is none. */
const MAX_LINES = 200;
/** A prop of 60 servos needs less than half of it (MB). */
const LIMITS = { maxYoungGenerationSizeMb: 4, maxOldGenerationSizeMb: 48 };

export interface ServiceEvents {
  /** How the prop file differs from the prop in use has changed. */
  file(status: FileStatus): void;
  /** Something for the journal. */
  journal(who: string, what: ServiceEvent, text: string, values: Record<string, unknown>): void;
  /** A new thread has the journal up to this number; it gets what came after it by `entry`. */
  kept(seq: number): void;
  /** The thread died; a new one is on its way. Requests that were under way have been refused. */
  died(why: string, retryMs: number): void;
  /** A new thread runs: it needs a line to the gateway (`connectGateway`). */
  restarted(): void;
}

/** Nothing can be started. */
export class CannotOpen extends Error {
  /** Whole lines for standard error. */
  readonly lines: readonly string[];

  constructor(lines: readonly string[]) {
    super(lines.at(-1) ?? 'the prop file cannot be opened');
    this.name = 'CannotOpen';
    this.lines = lines;
  }
}

/** How soon an answer is looked for where no tick does it: before the first one and after the last (ms). */
const LOOK_MS = 10;
/** How many messages a tick takes. */
const MAX_AT_ONCE = 64;

type AnswerToStart = Extract<FromService, { t: 'opened' | 'cannot-open' }>;
/** The result of a start. */
type Answer = AnswerToStart | { t: 'died'; why: string };
type Said = Exclude<FromService, AnswerToStart>;

interface Asked {
  /** What it is for, in words, where it may be half done when the thread dies. */
  what: string | undefined;
  resolve(result: Record<string, unknown>): void;
  reject(error: Error): void;
}

/** A state that is not known to be on the disk. */
interface Unsaved {
  state: Saved;
  durable: boolean;
  resolve(): void;
  reject(error: Error): void;
}

/**
 * The thread of the prop-file service as the main thread sees it: started, and started again when it
 * dies. Nothing in here waits or touches a file.
 */
export class ServiceHost {
  readonly #start: Omit<ServiceStart, 'changes' | 'ring' | 'resumed'>;
  readonly #events: ServiceEvents;
  readonly #spawn: (start: ServiceStart, handOver: Transferable[]) => Worker;
  #worker: Worker | undefined;
  #changes: LineIn<ChangeMessage> | undefined;
  #line: LineIn<Said> | undefined;
  #looking: NodeJS.Timeout | undefined;
  #version: string | undefined;
  #numbers = 0;
  readonly #asked = new Map<number, Asked>();
  readonly #unsaved = new Map<number, Unsaved>();
  #unsent: ToService[] = [];
  readonly #backoff = new Backoff();
  #timer: NodeJS.Timeout | undefined;
  #closing = false;

  constructor(
    start: Omit<ServiceStart, 'changes' | 'ring' | 'resumed'>,
    events: ServiceEvents,
    spawn = spawnService,
  ) {
    this.#start = start;
    this.#events = events;
    this.#spawn = spawn;
  }

  /** Starts the thread. @throws CannotOpen with what is wrong with the file */
  open(): Promise<Opened> {
    return new Promise((resolve, reject) => {
      this.#begin((message) => {
        if (message.t === 'opened') {
          this.#version = message.version;
          resolve(message);
        } else if (message.t === 'cannot-open') {
          void this.close();
          reject(new CannotOpen(message.lines));
        } else {
          // It died while it opened.
          void this.close();
          reject(new CannotOpen([`sinewd: the prop-file service died: ${message.why}`]));
        }
      });
    });
  }

  /** Hears what the service has said since. Once a tick. */
  receive(most = MAX_AT_ONCE): void {
    for (let left = most; left > 0; left--) {
      const message = this.#line?.take();
      if (!message) break;
      this.#hear(message);
    }
  }

  /** The next message of a change of the prop, if there is one; the core reads one in a tick. */
  nextChange(): ChangeMessage | undefined {
    return this.#changes?.take();
  }

  /** Tells the service what became of a change. */
  change(id: number, outcome: Outcome): void {
    this.#post({ t: 'change', id, outcome });
  }

  /** Gives the service a line to the gateway; it takes the place of an earlier one. */
  connectGateway(port: MessagePort): void {
    this.#worker?.postMessage({ t: 'gateway', port } satisfies ToService, [port]);
  }

  /** @throws Refusal; the file is as it was, unless the reason says otherwise */
  capture(edits: Edit[], by: Author): Promise<{ version: string }> {
    return this.#ask((n) => ({ t: 'capture', n, edits, by }), by.what);
  }

  /** @throws Refusal */
  undo(by: Author): Promise<{ version: string; undone: string }> {
    return this.#ask((n) => ({ t: 'undo', n, by }), by.what);
  }

  /** @throws Refusal; `values.changed` says what somebody else has changed meanwhile */
  apply(
    given: { text?: string; edits?: Edit[]; partly?: boolean; version: string },
    by: Author,
  ): Promise<Result<'prop.apply'>> {
    return this.#ask((n) => ({ t: 'apply', n, ...given, by }), by.what);
  }

  /** @throws Refusal as `apply` does */
  cue(change: CueChange, version: string, by: Author): Promise<Result<'prop.apply'>> {
    return this.#ask((n) => ({ t: 'cue', n, change, version, by }), by.what);
  }

  /** @throws Refusal */
  restore(version: string, base: string | undefined, by: Author): Promise<Result<'prop.apply'>> {
    return this.#ask((n) => ({ t: 'restore', n, version, base, by }), by.what);
  }

  /** @throws Refusal */
  beginPicture(given: Params<'picture.begin'>, by: Author): Promise<Result<'picture.begin'>> {
    return this.#ask((n) => ({ t: 'picture-begin', n, ...given, by }));
  }

  /** @throws Refusal; nothing beside the prop file has changed then */
  endPicture(given: Params<'picture.end'>, by: Author): Promise<Result<'picture.end'>> {
    return this.#ask((n) => ({ t: 'picture-end', n, ...given, by }), by.what);
  }

  /** @throws Refusal `scan.busy` */
  scanBoards(): Promise<Result<'board.scan'>> {
    return this.#ask((n) => ({ t: 'board-scan', n }));
  }

  /** @throws Refusal `channel.unknown` */
  wearDone(channel: string, who: string, note: string): Promise<Result<'wear.done'>> {
    return this.#ask((n) => ({ t: 'wear-done', n, channel, who, note }));
  }

  /** @throws Refusal `service.dead` */
  wearSum(): Promise<WearSum> {
    return this.#ask((n) => ({ t: 'wear-sum', n }));
  }

  /** @throws Refusal */
  passage(asked: PassageAsked, session: string): Promise<CuePassage> {
    return this.#ask((n) => ({ t: 'passage', n, asked, session }));
  }

  /** @throws Refusal */
  readTake(recording: Recording | undefined, params: Params<'take.read'>): Promise<TakeShown> {
    return this.#ask((n) => ({ t: 'take-read', n, recording, params }));
  }

  /** @throws Refusal; the recording is still in hand then */
  saveTake(
    recording: Recording | undefined,
    params: Params<'take.save'>,
    by: Author,
  ): Promise<Result<'take.save'>> {
    return this.#ask((n) => ({ t: 'take-save', n, recording, params, by }), by.what);
  }

  /** @throws Refusal */
  beginSound({ bytes }: Params<'sound.begin'>, by: Author): Promise<Result<'sound.begin'>> {
    return this.#ask((n) => ({ t: 'sound-begin', n, bytes, by }));
  }

  /** @throws Refusal; nothing has changed then */
  addSound(params: Params<'sound.add'>, by: Author): Promise<Result<'sound.add'>> {
    return this.#ask((n) => ({ t: 'sound-add', n, params, by }), by.what);
  }

  /** @throws Refusal; nothing has changed then */
  removeSound(params: Params<'sound.remove'>, by: Author): Promise<Result<'sound.remove'>> {
    return this.#ask((n) => ({ t: 'sound-remove', n, params, by }), by.what);
  }

  /** @throws Refusal; nothing has changed then */
  followSound(params: Params<'sound.follow'>, by: Author): Promise<Result<'sound.follow'>> {
    return this.#ask((n) => ({ t: 'sound-follow', n, params, by }), by.what);
  }

  /** Edits of that session that have not had their turn are refused. */
  gone(session: string): void {
    this.#post({ t: 'gone', session });
  }

  /**
   * Resolves when the state, or a later one, is on the disk: for good when `durable`. It outlives the
   * death of the thread.
   * @throws Refusal when what is on the disk may give the next run positions that are long out of date
   */
  saveState(state: Saved, durable: boolean): Promise<void> {
    return new Promise((resolve, reject) => {
      const n = ++this.#numbers;
      this.#unsaved.set(n, { state, durable, resolve, reject });
      this.#look();
      this.#worker?.postMessage({ t: 'state', n, state, durable } satisfies ToService);
    });
  }

  /** @throws Refusal */
  async writePlan(plan: SafePlan): Promise<void> {
    await this.#ask((n) => ({ t: 'plan', n, plan }));
  }

  log(level: LogLevel, name: string, values: object, text: string): void {
    this.#post({ t: 'log', level, name, timeMs: Date.now(), values: cloneable(values), text });
  }

  /** Where the core writes what it does, from now on; a new thread must be told as well. */
  telemetry(buffers: TelemetryBuffers, channels: readonly WornChannel[]): void {
    this.#post({ t: 'telemetry', buffers, channels });
  }

  /** An entry of the journal, for the log and the disk. A thread that starts again asks for what it missed. */
  entry(entry: JournalEntry, again: boolean): void {
    this.#post({ t: 'entry', entry, again });
  }

  /** A line for standard output. */
  print(text: string): void {
    this.#post({ t: 'print', text });
  }

  /** Resolves when everything asked for is on the disk and in the log, or after `withinMs`. */
  async flush(withinMs: number): Promise<void> {
    if (!this.#worker) return;
    let timer: NodeJS.Timeout | undefined;
    const late = new Promise<void>((resolve) => {
      timer = setTimeout(resolve, withinMs);
    });
    const done = this.#ask((n) => ({ t: 'flush', n })).catch(() => undefined);
    await Promise.race([done, late]);
    clearTimeout(timer);
  }

  async close(): Promise<void> {
    this.#closing = true;
    clearTimeout(this.#timer);
    clearTimeout(this.#looking);
    if (this.#worker) await endThread(this.#worker, () => this.#post({ t: 'close' }));
  }

  #post(message: ToService): void {
    if (this.#worker) this.#worker.postMessage(message);
    // The outcome of a change means nothing to another thread.
    else if (message.t === 'log' || message.t === 'print' || message.t === 'entry')
      this.#unsent = [...this.#unsent.slice(1 - MAX_LINES), message];
  }

  #ask<T>(make: (n: number) => ToService, what?: string): Promise<T> {
    const { promise, resolve, reject } = withResolvers<T>();
    const worker = this.#worker;
    if (!worker) {
      const reason = 'the prop-file service has died and starts again; try again in a moment';
      reject(new Refusal('service.dead', reason));
      return promise;
    }
    const n = ++this.#numbers;
    this.#asked.set(n, { what, resolve: (result) => resolve(result as T), reject });
    worker.postMessage(make(n));
    this.#look();
    return promise;
  }

  /** While an answer is due. */
  #look(): void {
    this.#looking ??= setTimeout(() => {
      this.#looking = undefined;
      this.receive();
      if (this.#asked.size > 0 || this.#unsaved.size > 0) this.#look();
    }, LOOK_MS);
  }

  #begin(answered: (message: Answer) => void): void {
    const { port1, port2 } = new MessageChannel();
    const ring = makeRing();
    const changes = { port: port2, ring: makeRing() };
    const start = { ...this.#start, changes, ring, resumed: this.#version };
    const line = new LineIn<Said>(ring);
    const worker = this.#spawn(start, [port2]);
    const startedMs = performance.now();
    let why = 'it ended by itself';
    this.#worker = worker;
    this.#changes = new LineIn(changes.ring, () => receiveMessageOnPort(port1)?.message);
    this.#line = line;
    // What the thread itself prints must not go through this thread's own streams, which block.
    for (const stream of [worker.stdout, worker.stderr])
      stream.on('data', (data: Buffer) => this.log('error', 'service', {}, String(data).trim()));
    worker.on('message', (message: FromService) => {
      if (!isAnswerToStart(message)) line.arrived(message);
      else if (message.t === 'opened') answered(message);
      else {
        why = message.lines.at(-1) ?? why;
        answered(message);
        if (this.#version !== undefined)
          void endThread(worker, () => worker.postMessage({ t: 'close' } satisfies ToService));
      }
    });
    worker.on('error', (error) => {
      why = error.message;
    });
    worker.on('exit', () => {
      port1.close();
      // What it said last counts.
      this.receive(Number.POSITIVE_INFINITY);
      this.#worker = undefined;
      this.#changes = undefined;
      this.#line = undefined;
      if (this.#closing) return;
      answered({ t: 'died', why });
      if (this.#version === undefined) return;
      this.#refuseAll(why);
      const retryMs = this.#backoff.next(performance.now() - startedMs);
      this.#events.died(why, retryMs);
      this.#timer = setTimeout(() => this.#again(), retryMs);
    });
  }

  #again(): void {
    this.#begin(() => {});
    for (const message of this.#unsent.splice(0)) this.#post(message);
    for (const [n, { state, durable }] of this.#unsaved)
      this.#worker?.postMessage({ t: 'state', n, state, durable } satisfies ToService);
    this.#events.restarted();
  }

  #hear(message: Said): void {
    switch (message.t) {
      case 'done':
        this.#asked.get(message.n)?.resolve(message.result);
        this.#unsaved.get(message.n)?.resolve();
        this.#forget(message.n);
        break;
      case 'fail': {
        const error = refusalOf(message.error);
        this.#asked.get(message.n)?.reject(error);
        this.#unsaved.get(message.n)?.reject(error);
        this.#forget(message.n);
        break;
      }
      case 'file':
        this.#version = message.status.version;
        this.#events.file(message.status);
        break;
      case 'journal':
        this.#events.journal(message.who, message.what, message.text, message.values);
        break;
      case 'kept':
        this.#events.kept(message.seq);
    }
  }

  #forget(n: number): void {
    this.#asked.delete(n);
    this.#unsaved.delete(n);
  }

  #refuseAll(why: string): void {
    for (const { what, reject } of this.#asked.values()) {
      const reason = what
        ? `the prop-file service died (${why}): it is not known whether ${what} was written; see the prop file, or prop.history`
        : `the prop-file service died (${why}); try again`;
      reject(new Refusal('service.dead', reason));
    }
    this.#asked.clear();
  }
}

function spawnService(start: ServiceStart, handOver: Transferable[]): Worker {
  return new Worker(new URL('./service.js', import.meta.url), {
    name: 'service',
    workerData: start,
    transferList: handOver,
    resourceLimits: LIMITS,
    stdout: true,
    stderr: true,
  });
}

function refusalOf({ data: { code, reason, ...values } }: ErrorObject): Refusal {
  return new Refusal(code, reason, values);
}

/** What can be posted: a log must not fail for a value that cannot. */
function cloneable(values: object): object {
  const isPlain = Object.values(values).every(
    (value) => typeof value !== 'function' && typeof value !== 'symbol',
  );
  return isPlain ? values : {};
}
