import { isDeepStrictEqual } from 'node:util';
import type { Driver } from '../boards/board.ts';
import type { Board as BoardSpec } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import type { TelemetryBody } from '../shared/telemetry.ts';
import type { Assembly } from './assembly.ts';
import type { Board } from './boards.ts';
import { type Change, Changes } from './changes.ts';
import type { ChangeMessage, CoreProp, Outcome } from './core-prop.ts';
import type { CueEvents } from './cues.ts';
import type { Journal } from './journal.ts';
import { oldNames, placesIn, placesOf } from './renamed.ts';

/** What taking over another version of the prop file needs from outside. */
export interface Changing {
  /** The next message of a change, if there is one. */
  receive: () => ChangeMessage | undefined;
  /** A driver that is not open yet. */
  createDriver: (board: BoardSpec) => Promise<Driver>;
  /** Keeps the plan of safe levels, before the pins of other boards are claimed. */
  writePlan: (prop: CoreProp, boards: readonly Board[]) => Promise<void>;
  /** The result of a change. */
  reportOutcome: (id: number, outcome: Outcome) => void;
  /** A version is in use from now on. */
  onProp: (change: Pick<Change, 'view' | 'changed'>, body: TelemetryBody) => void;
}

/** What an exchange needs from the core. */
export interface ExchangeHost {
  /** Everything that is put together from the version in use. */
  assembly(): Assembly;
  /** Parked, and no board is being opened for a reset. */
  mayExchange(): boolean;
  /** Another assembly is in use from now on. */
  adopt(assembly: Assembly): void;
  /** The triggers of the version in use are others. */
  followTriggers(): void;
  /** Claims the pins of boards, of all or of none. @throws what a driver throws */
  openBoards(boards: readonly Board[]): Promise<void>;
  boardFailed(board: Board, error: Error): void;
  /** Where the state of every tick is published now. */
  published(): TelemetryBody;
  /** What was exchanged must be on the disk. */
  saved(): void;
  isParked(): boolean;
  readonly cueEvents: CueEvents;
}

/** Takes another version of the prop file over: at once, or when the prop is parked. */
export class PropExchange {
  readonly #host: ExchangeHost;
  readonly #changing: Changing;
  readonly #journal: Journal;
  readonly #clock: Clock;
  readonly changes: Changes;
  #version: string;
  /** A change that waits until the prop is parked. */
  #waiting: Extract<Change, { whenParked: true }> | undefined;
  #underWay = false;

  /** @param version the one in use */
  constructor(
    version: string,
    changing: Changing,
    host: ExchangeHost,
    journal: Journal,
    clock: Clock,
  ) {
    this.#version = version;
    this.#changing = changing;
    this.#host = host;
    this.#journal = journal;
    this.#clock = clock;
    this.changes = new Changes({
      receive: changing.receive,
      driverOf: (name, board) => this.#driverOf(name, board),
      reportOutcome: changing.reportOutcome,
      complete: (change) => this.#take(change),
    });
  }

  /** The version of the prop file that is in use. */
  get version(): string {
    return this.#version;
  }

  /** Another version is taken over at this moment: its boards are being opened. */
  get underWay(): boolean {
    return this.#underWay;
  }

  /** Once a tick, at its end. */
  tick(): void {
    if (this.#underWay) return;
    this.changes.tick();
    const waiting = this.#waiting;
    if (!waiting || !this.#host.mayExchange()) return;
    this.#waiting = undefined;
    void this.#exchange(waiting);
  }

  #take(change: Change): void {
    const { reportOutcome, onProp } = this.#changing;
    if (change.whenParked) {
      if (this.#waiting) reportOutcome(this.#waiting.id, 'replaced');
      this.#waiting = change;
      if (!this.#host.isParked()) reportOutcome(change.id, 'waits');
      return;
    }
    if (change.base !== this.#version) {
      reportOutcome(change.id, 'stale');
      return;
    }
    this.#takeNow(change);
    this.#version = change.version;
    // First, so that a client that hears of it and asks the service gets the new one.
    reportOutcome(change.id, 'adopted');
    onProp(change, this.#host.published());
  }

  /** Marks, cues, poses and the like, while the prop runs. */
  #takeNow({ rest, channels, cues, cueSpecs }: Extract<Change, { whenParked: false }>): void {
    const { body, idle, cues: running } = this.#host.assembly();
    const prop: CoreProp = { ...body.prop, ...rest };
    prop.channels = { ...prop.channels, ...Object.fromEntries(channels) };
    if (cueSpecs.size > 0) {
      prop.cues = { ...prop.cues };
      prop.cueDurationsS = { ...prop.cueDurationsS };
      for (const [name, { cue, durationS }] of cueSpecs)
        if (cue) {
          prop.cues[name] = cue;
          prop.cueDurationsS[name] = durationS;
        } else {
          delete prop.cues[name];
          delete prop.cueDurationsS[name];
        }
    }
    body.prop = prop;
    for (const [name, spec] of channels) body.channel(name).follow(spec);
    if (rest.groups) body.regroup(rest.groups);
    running.replace(cues);
    if (rest.idle) idle.follow(body.nowS);
    if (rest.triggers) this.#host.followTriggers();
  }

  async #driverOf(name: string, board: BoardSpec): Promise<Driver> {
    const { boards, prop } = this.#host.assembly().body;
    const open = boards.find((one) => one.name === name);
    if (open && isDeepStrictEqual(prop.boards[name], board)) return open.driver;
    return this.#changing.createDriver(board);
  }

  /** Replaces the present prop by the rebuilt one. Nothing moves. */
  async #exchange(change: Extract<Change, { whenParked: true }>): Promise<void> {
    const { assembling, id } = change;
    const { reportOutcome, onProp, writePlan } = this.#changing;
    const { body } = this.#host.assembly();
    this.#underWay = true;
    const before = body.boards;
    const after = assembling.body.boards;
    try {
      const assembly = assembling.complete(this.#journal, this.#host.cueEvents, this.#clock);
      const likeOf = (board: Board) => before.find((one) => one.isLike(board));
      const closing = before.filter((board) => !after.some((one) => likeOf(one) === board));
      const opening = after.filter((board) => !likeOf(board));
      if (closing.length + opening.length > 0) {
        const boards = after.map((board) => likeOf(board) ?? board);
        await this.#reboard(
          closing,
          opening,
          () => writePlan(assembling.body.prop, boards),
          () => writePlan(body.prop, before),
        );
      }
      this.#succeed(assembly, likeOf);
    } catch (error) {
      this.#underWay = false;
      reportOutcome(id, { rejected: (error as Error).message });
      return;
    }
    this.#underWay = false;
    this.#version = change.version;
    reportOutcome(id, 'adopted');
    onProp(change, this.#host.published());
    this.#host.saved();
  }

  /**
   * Closes boards, then opens others in their place.
   * @throws what a driver throws, once the boards are as they were; a board that does not come back
   *   makes the prop faulted
   */
  async #reboard(
    closing: readonly Board[],
    opening: readonly Board[],
    between: () => Promise<void>,
    back: () => Promise<void>,
  ): Promise<void> {
    for (const board of closing) board.away = true;
    try {
      for (const board of closing) await board.close(this.#clock);
      await between();
      await this.#host.openBoards(opening);
    } catch (error) {
      // The safe plan must list the boards opened now; if it cannot be written they still open.
      await back().catch((why: Error) => this.#journal.add('prop', 'fault', why.message));
      for (const board of closing) {
        try {
          await board.open(this.#clock);
          board.away = false;
          for (const light of this.#host.assembly().body.lights)
            if (light.board === board) light.touch();
        } catch (again) {
          board.away = false;
          this.#host.boardFailed(board, again as Error);
        }
      }
      throw error;
    }
  }

  /** The new assembly continues where the old one stands. */
  #succeed(assembly: Assembly, likeOf: (board: Board) => Board | undefined): void {
    const before = this.#host.assembly();
    const old = before.body;
    const { body } = assembly;
    for (const board of body.boards) {
      const like = likeOf(board);
      if (like) board.takeOver(like);
    }
    const places = { was: placesIn(old), is: placesIn(body) };
    const names = oldNames(placesOf(old), body);
    for (const actuator of body.channels) {
      const pulsesGoOn = likeOf(actuator.board) !== undefined;
      const was = old.find(names.get(actuator.name) ?? actuator.name);
      actuator.continueFrom(was, pulsesGoOn, places, old.nowS);
    }
    assembly.light.resume(before.light);
    body.senses.resume(old.senses);
    for (const angle of body.angles) {
      const was = old.angles.find(({ digest }) => digest === angle.digest);
      if (was) angle.takeOver(was.kept);
    }
    body.nowS = old.nowS;
    this.#host.adopt(assembly);
  }
}
