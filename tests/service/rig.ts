import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { JournalEntry } from '../../src/api/types.ts';
import type { ChangeMessage, Outcome } from '../../src/core/core-prop.ts';
import type { CueChange } from '../../src/prop/cue-change.ts';
import type { FileSystem } from '../../src/prop/file/prop-disk.ts';
import type { Author, FileStatus } from '../../src/prop/file/status.ts';
import type { LogSink } from '../../src/service/log-sink.ts';
import type { PlannerPort } from '../../src/service/planner.ts';
import { Planner } from '../../src/service/planner-answer.ts';
import type { PlannerQuestion } from '../../src/service/planner-question.ts';
import type {
  AnswerToGateway,
  FromService,
  Opened,
  ServedPicture,
  ToService,
} from '../../src/service/protocol.ts';
import { PropService, type ServiceFs } from '../../src/service/service.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import type { ErrorObject } from '../../src/shared/errors.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { OWLET } from './owlet.ts';

type Begin = Extract<ChangeMessage, { t: 'begin' }>;

/** A change as the core has put it together from its messages. */
export interface Change {
  begin: Begin;
  channels: Map<string, Extract<ChangeMessage, { t: 'channel' }>['spec']>;
  cues: Map<string, Extract<ChangeMessage, { t: 'cue' }>>;
}

/** Plays the core: takes changes, and takes them over at once or when it is parked. */
export class FakeCore {
  parked = false;
  version = '';
  /** Why the boards cannot do what a change asks for. */
  refuses: (change: Change) => string | undefined = () => undefined;
  readonly changes: Change[] = [];
  waiting: Change | undefined;
  /** Answers nothing until it is let go. */
  held = false;
  #open: Change | undefined;
  readonly #answer: (id: number, outcome: Outcome) => void;

  constructor(answer: (id: number, outcome: Outcome) => void) {
    this.#answer = answer;
  }

  take(message: ChangeMessage): void {
    if (message.t === 'begin') {
      if (this.waiting) this.#answer(this.waiting.begin.id, 'replaced');
      this.waiting = undefined;
      this.#open = { begin: message, channels: new Map(), cues: new Map() };
    } else if (message.t === 'channel') this.#open!.channels.set(message.name, message.spec);
    else if (message.t === 'cue') this.#open!.cues.set(message.name, message);
    else if (this.held) this.#ended = true;
    else this.end();
  }

  /** A whole change has come in and has not been answered. */
  get isHeld(): boolean {
    return this.held && this.#ended;
  }

  #ended = false;

  end(): void {
    this.#ended = false;
    const change = this.#open!;
    this.#open = undefined;
    const { id, base, whenParked } = change.begin;
    if (base !== this.version) this.#answer(id, 'stale');
    else if (whenParked && !this.parked) {
      this.waiting = change;
      this.#answer(id, 'waits');
    } else this.#adopt(change);
  }

  /** The prop is parked: what waits takes effect. */
  park(): void {
    this.parked = true;
    const { waiting } = this;
    this.waiting = undefined;
    if (waiting) this.#adopt(waiting);
  }

  #adopt(change: Change): void {
    const rejected = this.refuses(change);
    if (rejected === undefined) {
      this.version = change.begin.version;
      this.changes.push(change);
    }
    this.#answer(change.begin.id, rejected === undefined ? 'adopted' : { rejected });
  }
}

/** A planner in this thread. */
class PlannerHere implements PlannerPort {
  readonly #planner = new Planner();
  async ask(_session: string, question: PlannerQuestion): Promise<object> {
    const answer = await this.#planner.answer(question);
    if ('result' in answer) return answer.result;
    throw new Refusal(answer.code, answer.reason, answer.values);
  }
  gone(): void {}
  async close(): Promise<void> {}
}

/** Knows whether anybody waits for a time to come. */
class WatchedClock extends VirtualClock {
  waiting = 0;
  override after(delayMs: number, wake: () => void): () => void {
    this.waiting++;
    let isOver = false;
    const over = () => {
      if (!isOver) this.waiting--;
      isOver = true;
    };
    const cancel = super.after(delayMs, () => {
      over();
      wake();
    });
    return () => {
      over();
      cancel();
    };
  }
}

export class Rig {
  readonly clock = new WatchedClock();
  readonly core = new FakeCore((id, outcome) =>
    queueMicrotask(() => this.service.receive({ t: 'change', id, outcome })),
  );
  readonly messages: FromService[] = [];
  readonly logged: string[] = [];
  readonly complaints: string[] = [];
  readonly service: PropService;
  readonly folder: string;
  readonly file: string;
  readonly state: string;
  readonly answers = new Map<number, AnswerToGateway>();
  /** Pictures that the gateway was given. */
  readonly served: ServedPicture[] = [];
  /** Entries from before that the gateway was given. */
  readonly recent: JournalEntry[] = [];
  #n = 0;

  private constructor(
    folder: string,
    { fileSystem, resumed, planner = new PlannerHere(), program, warmUp, idle }: RigOptions,
  ) {
    this.folder = folder;
    this.file = join(folder, 'owl.yaml');
    this.state = join(folder, 'state');
    const sink: LogSink = {
      log: (level, _name, values, text) =>
        this.logged.push(`${level}: ${text} ${String((values as { err?: Error }).err ?? '')}`),
      print: () => {},
      complain: (lines) => this.complaints.push(...lines),
      flush: async () => {},
    };
    this.service = new PropService(
      {
        file: this.file,
        stateDir: this.state,
        planDir: undefined,
        logLevel: 'info',
        pretty: false,
        resumed,
      },
      {
        main: (message) => this.messages.push(structuredClone(message)),
        change: (message) => this.core.take(structuredClone(message)),
        answer: (answer) => {
          if (!('t' in answer)) this.answers.set(answer.id, answer);
          else if (answer.t === 'picture') this.served.push(answer);
          else this.recent.push(...answer.entries);
        },
        sink,
        planner,
        clock: this.clock,
        ...(fileSystem && { fileSystem: fileSystem as ServiceFs }),
        ...(program && { program }),
        ...(warmUp && { warmUp }),
        ...(idle && { idle }),
      },
    );
  }

  /** Opens a service on a file with `text`, in a folder of its own or again in `folder`. */
  static async open(options: RigOptions = {}): Promise<Rig> {
    let { folder } = options;
    if (folder === undefined) {
      folder = await fs.mkdtemp(join(tmpdir(), 'sinew-service-'));
      if (options.text !== null)
        await fs.writeFile(join(folder, 'owl.yaml'), options.text ?? OWLET);
    }
    const rig = new Rig(folder, options);
    await rig.service.open();
    const opened = rig.messages.find(({ t }) => t === 'opened') as Opened | undefined;
    rig.core.version = opened?.version ?? options.resumed ?? '';
    if (opened) await rig.ask((n) => ({ t: 'plan', n, plan: PLAN }));
    return rig;
  }

  get opened(): Opened {
    const found = this.messages.find(({ t }) => t === 'opened');
    if (!found) throw new Error(`it did not open: ${JSON.stringify(this.messages)}`);
    return found as Opened & FromService;
  }

  /** How the file stood to the prop at last. */
  get status(): FileStatus {
    const last = this.messages.findLast(({ t }) => t === 'file');
    return last?.t === 'file' ? last.status : this.opened.status;
  }

  get reported(): string[] {
    return this.messages.flatMap((message) => (message.t === 'journal' ? [message.text] : []));
  }

  /** Asks as the main thread does. @throws the refusal as a plain error with its data */
  async ask<T = Record<string, unknown>>(make: (n: number) => ToService): Promise<T> {
    const n = ++this.#n;
    this.service.receive(make(n) as never);
    for (;;) {
      const found = this.messages.find(
        (message) => (message.t === 'done' || message.t === 'fail') && message.n === n,
      );
      if (found?.t === 'done') return found.result as T;
      if (found?.t === 'fail') throw new Refused(found.error);
      // Whoever waits between two looks at the file gets on.
      this.clock.advance(10);
      await this.turn();
    }
  }

  /** Lets work on the disk go on; time stands still but for what somebody waits for. */
  async turn(): Promise<void> {
    await new Promise((resolve) => setTimeout(resolve, 1));
  }

  capture(path: (string | number)[], value: unknown, by: Partial<Author> = {}) {
    return this.ask<{ version: string }>((n) => ({
      t: 'capture',
      n,
      edits: [{ path, value }],
      by: { ...ME, what: `capture of ${path.at(-1)}`, ...by },
    }));
  }

  undo() {
    return this.ask<{ version: string; undone: string }>((n) => ({ t: 'undo', n, by: ME }));
  }

  apply(text: string, version: string) {
    return this.ask<Applied>((n) => ({ t: 'apply', n, text, version, by: ME }));
  }

  cue(change: CueChange, version: string) {
    return this.ask<Applied>((n) => ({ t: 'cue', n, change, version, by: ME }));
  }

  restore(version: string) {
    return this.ask<Applied>((n) => ({ t: 'restore', n, version, by: ME }));
  }

  async flush(): Promise<void> {
    await this.ask((n) => ({ t: 'flush', n }));
  }

  /** Time goes by, with the disk keeping up. */
  async pass(ms: number): Promise<void> {
    for (let passed = 0; passed < ms; passed += 50) {
      this.clock.advance(50);
      // A look at the file is under way until the next one is waited for.
      while (this.clock.waiting === 0) await this.turn();
    }
    await this.flush();
  }

  read(): Promise<string> {
    return fs.readFile(this.file, 'utf8');
  }

  /** What is beside the prop file, and the file itself. */
  async files(): Promise<string[]> {
    return (await fs.readdir(this.folder)).filter((name) => name !== 'state').sort();
  }

  async byHand(from: string, to: string): Promise<void> {
    const text = await this.read();
    if (!text.includes(from)) throw new Error(`there is no ${from}`);
    await fs.writeFile(this.file, text.replace(from, to));
  }

  /** The question of a session, answered as JSON. */
  async question(method: string, params: object = {}, session = 's1'): Promise<never> {
    const id = ++this.#n;
    this.service.ask({ t: 'ask', id, session, method: method as never, params });
    for (;;) {
      const found = this.answers.get(id);
      if (found && 'text' in found) return JSON.parse(found.text) as never;
      if (found) throw new Refused(found.error);
      await this.turn();
    }
  }

  async close(): Promise<void> {
    await this.flush().catch(() => undefined);
    await this.service.close();
  }

  /** Closes it for good: its folder is removed. */
  async remove(): Promise<void> {
    await this.close();
    await fs.rm(this.folder, { recursive: true });
  }
}

const PLAN = {
  version: 1 as const,
  prop: 'test',
  daemon: { pid: 1, startTicks: 1, bootId: 'b' },
  boards: [],
};

export interface RigOptions {
  /** Works out trial captures after the start. */
  warmUp?: boolean;
  /** Called when nobody has asked for anything for a moment. */
  idle?: () => void;
  folder?: string;
  /** Null: there is no file. */
  text?: string | null;
  fileSystem?: FileSystem;
  resumed?: string;
  planner?: PlannerPort;
  /** The file that stands for the program. */
  program?: string;
}

export interface Applied {
  version: string;
  changed: string[];
  pending: boolean;
}

export const ME: Author = { session: 's1', client: 'laptop', what: 'a test' };

export class Refused extends Error {
  readonly error: ErrorObject;
  constructor(error: ErrorObject) {
    super(error.data.reason);
    this.error = error;
  }
}

/** The refusal that a promise ends in. */
export async function refusal(promise: Promise<unknown>): Promise<Refused> {
  const error = await promise.then(
    (result) => new Error(`it was done: ${JSON.stringify(result)}`),
    (reason: unknown) => reason,
  );
  if (error instanceof Refused) return error;
  throw error;
}
