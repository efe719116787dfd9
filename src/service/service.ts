import fs from 'node:fs/promises';
import type { JournalEntry } from '../api/types.ts';
import type { Lockable } from '../boards/facts.ts';
import type { ChangeMessage, Outcome } from '../core/core-prop.ts';
import { driftOf } from '../core/slip-record.ts';
import type { Saved } from '../core/store.ts';
import type { Author } from '../prop/file/status.ts';
import { formatFinding } from '../prop/finding.ts';
import type { SafePlan } from '../safe/plan.ts';
import type { Clock } from '../shared/clock.ts';
import { asRefusal, Refusal } from '../shared/errors.ts';
import { Asks } from './asks.ts';
import { BoardScans } from './board-scans.ts';
import { ClockWatch } from './clock-watch.ts';
import { coreProp, viewBytes } from './core-prop.ts';
import { Incidents } from './incidents.ts';
import { type JournalFs, JournalLog } from './journal-log.ts';
import { Keeper, type KeeperFs } from './keeper.ts';
import { Locks, lockableOsc, lockablesOf } from './locks.ts';
import type { LogSink } from './log-sink.ts';
import { makeNewFile } from './new-file.ts';
import { type PictureFs, Pictures } from './pictures.ts';
import type { PlannerPort } from './planner.ts';
import type {
  FromGateway,
  FromService,
  ServiceStart,
  ToGatewayFromService,
  ToService,
} from './protocol.ts';
import { type PlanFs, writePlan } from './safe-plan.ts';
import { Sounds } from './sounds.ts';
import { stateDir, targetOf } from './state-dir.ts';
import { FileStore, type StoreFs } from './state-file.ts';
import { SupplyWatch } from './supply-watch.ts';
import { Takes } from './takes.ts';
import { TelemetryRing } from './telemetry-ring.ts';
import { WearBook } from './wear-book.ts';
import { wearSum } from './wear-sum.ts';

export type ServiceFs = KeeperFs & StoreFs & PlanFs & PictureFs & JournalFs;

/** What the service works with; tests put their own in. */
interface Surroundings {
  main(message: FromService, handOver?: ArrayBuffer[]): void;
  change(message: ChangeMessage, handOver?: ArrayBuffer[]): void;
  answer(answer: ToGatewayFromService, handOver?: ArrayBuffer[]): void;
  sink: LogSink;
  planner: PlannerPort;
  clock: Clock;
  fileSystem?: ServiceFs;
  /** What no other daemon may have at the same time. */
  locks?: Locks;
  /** Make some trial edits after the start, so that the first capture is as fast as later ones. */
  warmUp?: boolean;
  /** Watch the computer's own supply. */
  watchSupply?: boolean;
  /** Called when nobody waits for this thread. */
  idle?: () => void;
  /** The file of the program: without it, every start reads and checks the whole prop file. */
  program?: string;
}

/** Owns the prop file and everything else on the disk, so that the core opens no file and waits for none. */
export class PropService {
  readonly #start: Omit<ServiceStart, 'changes' | 'ring'>;
  readonly #around: Surroundings;
  readonly #fs: ServiceFs;
  readonly #keeper: Keeper;
  readonly #asks: Asks;
  readonly #pictures: Pictures;
  readonly #takes: Takes;
  readonly #sounds: Sounds;
  readonly #scans: BoardScans;
  readonly #supply: SupplyWatch;
  #store: FileStore | undefined;
  #journal: JournalLog | undefined;
  #incidents: Incidents | undefined;
  #wear: WearBook | undefined;
  /** What the core has said last of measured angles. */
  #angles: Saved['angles'];
  #clockWatch = new ClockWatch(undefined);
  readonly #locks: Locks;
  #planDir = '';
  #stateDir = '';
  /** The boards in use, and those of a plan that may or may not come into use. */
  #boards: readonly Lockable[] | undefined;
  #nextBoards: readonly Lockable[] | undefined;
  /** Sessions with edits that wait, and those of them that are gone. */
  readonly #editing = new Map<string, number>();
  readonly #gone = new Set<string>();

  constructor(start: Omit<ServiceStart, 'changes' | 'ring'>, around: Surroundings) {
    this.#start = start;
    this.#around = around;
    this.#fs = around.fileSystem ?? fs;
    this.#locks = around.locks ?? new Locks();
    const { clock, planner } = around;
    const trouble = this.#trouble;
    this.#keeper = new Keeper(
      start.file,
      clock,
      {
        change: (message) =>
          around.change(message, message.t === 'begin' ? [bufferOf(message.view)] : []),
        status: (status) => around.main({ t: 'file', status }),
        journal: (who, text, values = {}) =>
          around.main({ t: 'journal', who, what: 'file', text, values }),
        trouble,
        ...(around.idle && { idle: around.idle }),
      },
      this.#gone,
      this.#fs,
      async (text) => {
        try {
          await planner.ask('service', { about: 'check', text, file: start.file });
          return undefined;
        } catch (error) {
          return (error as Error).message;
        }
      },
      around.program,
    );
    this.#scans = new BoardScans(clock);
    this.#pictures = new Pictures(
      planner,
      clock,
      (picture) => around.answer(picture, [bufferOf(picture.bytes)]),
      this.#fs,
    );
    this.#takes = new Takes(this.#keeper, planner, this.#fs);
    this.#sounds = new Sounds(this.#keeper, planner, this.#takes, clock, this.#fs);
    this.#supply = new SupplyWatch(clock, (text, isLow) =>
      around.main({ t: 'journal', who: 'prop', what: 'sense', text, values: { isLow } }),
    );
    this.#asks = new Asks(
      this.#keeper,
      planner,
      this.#pictures,
      this.#sounds,
      {
        journal: (query) => this.#journal!.read(query),
        incidents: () => this.#incidents!.list(),
        wear: () => this.#wear!.list(),
        incident: (seq) => this.#incidents!.read(seq),
      },
      (answer) => around.answer(answer),
      (error) => trouble(error, 'a question could not be answered'),
    );
  }

  readonly #trouble = (error: unknown, text: string): void =>
    this.#around.sink.log('error', 'sinewd', { err: error }, text);

  /** Opens file and state, and reports the result to the main thread. */
  async open(): Promise<void> {
    const { file, resumed, create } = this.#start;
    const { main, sink } = this.#around;
    const target = await targetOf(file);
    const folder = stateDir(this.#start.stateDir, target);
    this.#pictures.besides(target);
    this.#sounds.besides(target);
    this.#takes.besides(target);
    this.#planDir = this.#start.planDir ?? folder;
    this.#stateDir = folder;
    const locked = await this.#lockFolder(folder);
    if (locked !== undefined) {
      main({ t: 'cannot-open', lines: [`sinewd: ${locked}`] });
      return;
    }
    if (create && resumed === undefined) {
      const failed = await makeNewFile(file, target, folder, this.#fs);
      if (failed !== undefined) {
        main({ t: 'cannot-open', lines: [`sinewd: ${failed}`] });
        return;
      }
    }
    const journal = JournalLog.open(
      folder,
      this.#around.clock,
      (text, values) => main({ t: 'journal', who: 'prop', what: 'journal', text, values }),
      this.#fs,
    );
    const wear = WearBook.open(folder, this.#around.clock, this.#trouble, this.#fs, {
      every: (channel) => this.#keeper.inUse.loaded.prop.channels[channel]?.maintainEvery,
      drift: (channel) => {
        const slip = this.#angles?.[channel]?.slip;
        return slip && driftOf(slip);
      },
      due: (channel, text) =>
        main({ t: 'journal', who: 'prop', what: 'maintenance', text, values: { channel } }),
    });
    const { findings, refused } = await this.#keeper.open(target, folder, resumed);
    const lines = findings.map((finding) => formatFinding(finding, file));
    if (refused !== undefined) {
      main({ t: 'cannot-open', lines: [...lines, `sinewd: ${refused}`] });
      return;
    }
    try {
      this.#store = await FileStore.open(
        folder,
        (error) =>
          sink.log(
            'error',
            'sinewd',
            { err: error },
            'the state could not be saved; the prop goes on without it',
          ),
        this.#fs,
      );
    } catch (error) {
      const reason = `the state cannot be kept: ${(error as Error).message}; make ${folder} writable, or give another with --state-dir`;
      main({ t: 'cannot-open', lines: [...lines, `sinewd: ${reason}`] });
      return;
    }
    this.#journal = await journal;
    this.#wear = await wear;
    this.#incidents = new Incidents(
      folder,
      this.#around.clock,
      () => this.#keeper.inUse.view,
      (error) =>
        sink.log('error', 'sinewd', { err: error }, 'what came before a stop could not be kept'),
      this.#fs,
    );
    const status = this.#keeper.status();
    if (resumed !== undefined) {
      main({ t: 'file', status });
      main({ t: 'kept', seq: this.#journal.lastSeq });
    } else {
      this.#clockWatch = new ClockWatch(this.#journal.lastTimeMs);
      sink.complain(lines);
      if (status.problem !== undefined)
        sink.log('warn', 'sinewd', {}, `the prop file on the disk is not used: ${status.problem}`);
      const { inUse } = this.#keeper;
      const view = viewBytes(inUse.view);
      const opened = {
        prop: coreProp(inUse),
        view,
        version: inUse.version,
        status,
        restored: this.#store.restored,
        journalSeq: this.#journal.startsAfter,
        bootNowS: this.#store.bootNowS(),
      };
      main({ t: 'opened', ...opened }, [view.buffer]);
    }
    // The core runs already.
    if (resumed !== undefined) this.#keeper.begin();
    if (this.#around.watchSupply) void this.#supply.begin();
  }

  /** An entry of the journal, after `open`; `again`: in the place of the one with its number. */
  note(entry: JournalEntry, again: boolean): void {
    const { clock, main } = this.#around;
    this.#journal?.take(entry, again);
    if (again) return;
    this.#incidents?.note(entry);
    const jump = this.#clockWatch.look(Date.parse(entry.time), clock.nowMs());
    if (!jump) return;
    const { text, byS } = jump;
    main({ t: 'journal', who: 'prop', what: 'clock', text, values: { byS } });
  }

  /** A message of the main thread, after `open`. */
  receive(
    message: Exclude<ToService, { t: 'gateway' | 'log' | 'print' | 'entry' | 'close' }>,
  ): void {
    switch (message.t) {
      case 'state':
        this.#angles = message.state.angles;
        void this.#reply(message.n, async () => {
          const noted = await this.#store!.save(message.state, message.durable);
          if (noted !== 'yes')
            throw new Refusal('state.not-saved', `the state could not be saved: ${noted.message}`);
          return {};
        });
        break;
      case 'plan':
        void this.#reply(message.n, async () => {
          await this.#lockBoards(message.plan.boards);
          await writePlan(message.plan, this.#planDir, this.#fs);
          await this.#keepPlan(message.plan);
          // No other daemon has this prop, and pins are claimed from now on.
          this.#keeper.begin();
          if (this.#around.warmUp) void this.#keeper.warmUp();
          return {};
        });
        break;
      case 'capture':
        this.#edit(message, () => this.#keeper.capture(message.edits, message.by));
        break;
      case 'undo':
        this.#edit(message, () => this.#keeper.undo(message.by));
        break;
      case 'apply': {
        const { text, edits, partly, version, by } = message;
        this.#edit(message, () => this.#keeper.apply({ text, edits, partly }, version, by));
        break;
      }
      case 'cue':
        this.#edit(message, () => this.#keeper.cue(message.change, message.version, message.by));
        break;
      case 'restore':
        this.#edit(message, () => this.#keeper.restore(message.version, message.base, message.by));
        break;
      case 'picture-begin': {
        const { n, name, bytes, by } = message;
        void this.#reply(n, async () => ({ ...this.#pictures.begin(name, bytes, by.session) }));
        break;
      }
      case 'picture-end':
        void this.#reply(message.n, async () => ({
          ...(await this.#pictures.end(message.upload, message.by.session)),
        }));
        break;
      case 'passage': {
        const { n, asked, session } = message;
        const { version, loaded } = this.#keeper.inUse;
        const { text, file } = loaded;
        const question = { about: 'passage', version, text, file, ...asked } as const;
        void this.#reply(n, async () => ({
          ...(await this.#around.planner.ask(session, question)),
        }));
        break;
      }
      case 'take-read': {
        const { n, recording, params } = message;
        void this.#reply(n, async () => ({
          ...(await this.#takes.read(recording, params, 'core')),
        }));
        break;
      }
      case 'sound-begin': {
        const { n, bytes, by } = message;
        void this.#reply(n, async () => ({ ...this.#sounds.begin(bytes, by.session) }));
        break;
      }
      case 'sound-add':
        this.#edit(message, () => this.#sounds.add(message.params, message.by));
        break;
      case 'sound-remove':
        this.#edit(message, () => this.#sounds.remove(message.params, message.by));
        break;
      case 'sound-follow':
        this.#edit(message, () => this.#sounds.follow(message.params, message.by));
        break;
      case 'take-save':
        this.#edit(message, () => this.#takes.save(message.recording, message.params, message.by));
        break;
      case 'gone':
        this.gone(message.session);
        break;
      case 'telemetry':
        this.#incidents?.use(new TelemetryRing(message.buffers, this.#around.clock));
        this.#wear?.use(message.buffers, message.channels);
        break;
      case 'wear-done': {
        const { n, channel, who, note } = message;
        void this.#reply(n, async () => {
          const done = await this.#wear?.done(channel, who, note);
          if (done) return { channel, ...done };
          throw new Refusal('channel.unknown', `there is no channel ${channel}`, { channel });
        });
        break;
      }
      case 'board-scan':
        void this.#reply(message.n, async () => ({
          ...(await this.#scans.scan(this.#keeper.inUse.loaded.prop.boards)),
        }));
        break;
      case 'wear-sum':
        void this.#reply(message.n, async () => ({ ...wearSum(this.#wear!.list().channels) }));
        break;
      case 'change':
        this.#keeper.outcome(message.id, message.outcome);
        void this.#settleLocks(message.outcome);
        break;
      case 'flush':
        void this.#reply(message.n, async () => {
          await this.#keeper.flush();
          await this.#store?.flush();
          await Promise.all([
            this.#journal?.flush(),
            this.#incidents?.flush(),
            this.#wear?.flush(),
            this.#around.sink.flush(),
          ]);
          return {};
        });
    }
  }

  /** A message of the gateway, after `open`. */
  ask(message: Exclude<FromGateway, { t: 'log' }>): void {
    if (message.t === 'ask') this.#asks.ask(message);
    else this.#asks.gone(message.session);
  }

  gone(session: string): void {
    if (this.#editing.has(session)) this.#gone.add(session);
    this.#asks.gone(session);
    this.#pictures.gone(session);
    this.#sounds.gone(session);
  }

  /** A gateway that was just started has nothing to serve yet. */
  gatewayIsNew(): void {
    this.#pictures.forgetServed();
    void this.#handRecent();
  }

  async #handRecent(): Promise<void> {
    const entries = (await this.#journal?.recent()) ?? [];
    if (entries.length > 0) this.#around.answer({ t: 'entries', entries });
  }

  async close(): Promise<void> {
    this.#supply.close();
    this.#keeper.close();
    this.#incidents?.close();
    this.#wear?.close();
    await this.#around.planner.close();
  }

  /** Before anything in the state folder is read. Returns why not. */
  async #lockFolder(folder: string): Promise<string | undefined> {
    try {
      await this.#fs.mkdir(folder, { recursive: true, mode: 0o700 });
      await this.#locks.takeFolder(folder);
    } catch (error) {
      if (error instanceof Refusal) return error.message;
      // A folder that cannot be made is reported by the code that keeps something in it.
    }
    return undefined;
  }

  /** Before a pin is claimed. @throws Refusal when another daemon has one of the boards */
  async #lockBoards(planned: SafePlan['boards']): Promise<void> {
    const boards = lockablesOf(planned);
    await this.#locks.hold(this.#boards ? boards : [...boards, ...this.#osc()]);
    if (this.#boards) this.#nextBoards = boards;
    else this.#boards = boards;
  }

  /** For the next start of the machine, before which the plan in /run is gone. */
  async #keepPlan(plan: SafePlan): Promise<void> {
    if (this.#stateDir === this.#planDir) return;
    try {
      await writePlan(plan, this.#stateDir, this.#fs);
    } catch (error) {
      const text = 'at the next start of the machine safe levels are written as an older plan says';
      this.#around.sink.log('error', 'sinewd', { err: error }, text);
    }
  }

  #osc(): Lockable[] {
    const { osc } = this.#keeper.inUse.view;
    return osc ? [lockableOsc(osc.port)] : [];
  }

  /** A change came into use or did not: what it would have needed, or no longer needs, is released. */
  async #settleLocks(outcome: Outcome): Promise<void> {
    if (outcome === 'adopted') this.#boards = this.#nextBoards ?? this.#boards;
    else if (typeof outcome !== 'object') return;
    this.#nextBoards = undefined;
    try {
      await this.#locks.keepOnly([...(this.#boards ?? []), ...this.#osc()]);
      await this.#locks.hold(this.#osc());
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const text = `no OSC is heard: ${error.message}`;
      this.#around.main({ t: 'journal', who: 'prop', what: 'file', text, values: error.values });
    }
  }

  #edit({ n, by }: { n: number; by: Author }, work: () => Promise<object>): void {
    const { session } = by;
    this.#editing.set(session, (this.#editing.get(session) ?? 0) + 1);
    void this.#reply(n, async () => {
      try {
        return (await work()) as Record<string, unknown>;
      } finally {
        const left = this.#editing.get(session)! - 1;
        if (left > 0) this.#editing.set(session, left);
        else {
          this.#editing.delete(session);
          this.#gone.delete(session);
        }
      }
    });
  }

  async #reply(n: number, work: () => Promise<Record<string, unknown>>): Promise<void> {
    try {
      this.#around.main({ t: 'done', n, result: await work() });
    } catch (error) {
      if (!(error instanceof Refusal))
        this.#around.sink.log('error', 'sinewd', { err: error }, 'a request failed');
      this.#around.main({ t: 'fail', n, error: asRefusal(error).toObject() });
    }
  }
}

function bufferOf(bytes: Uint8Array): ArrayBuffer {
  return bytes.buffer as ArrayBuffer;
}
