import { isDeepStrictEqual } from 'node:util';
import type { Driver, Sense } from '../drivers/driver.ts';
import type { Board as BoardSpec, Prop } from '../prop/schema.ts';
import type { ChangeMessage, CoreProp, Outcome } from '../service/protocol.ts';
import type { Clock } from '../shared/clock.ts';
import { conditionText } from '../shared/condition-text.ts';
import { Refusal } from '../shared/errors.ts';
import { FIELD, FLAG, RAIL_FIELD, Telemetry, type TelemetryBody } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import { Assembly, cuesOf } from './assembly.ts';
import type { Board } from './boards.ts';
import { type Actuator, Body, type SafetyInput } from './body.ts';
import { type Change, Changes } from './changes.ts';
import { CONDITIONS, type Condition, type ConditionEvent, next } from './condition.ts';
import type { Cues } from './cues.ts';
import { type Energiser, mustBeAbleToWake } from './energise.ts';
import type { Gate } from './gate.ts';
import { Guards } from './guards.ts';
import type { Idle } from './idle.ts';
import type { Journal } from './journal.ts';
import { Lease, type Loss, type Session } from './lease.ts';
import { Lockout } from './lockout.ts';
import { atRest, type Parker } from './park.ts';
import type { PropLight } from './prop-light.ts';
import { placeOf, type Relay } from './relay.ts';
import type { ConditionResult, SafetyInfo } from './requests.ts';
import { notParkedText } from './rest-text.ts';
import type { NotedDuty, Restored, Store } from './store.ts';
import { Triggers } from './triggers.ts';
import { Waits } from './waits.ts';
import { WarmUp } from './warm-up.ts';

/** After a stall, motion is advanced by this many ticks at most: it resumes, it does not jump. */
const MAX_CATCH_UP_TICKS = 4;
/** Positions are noted this often while something moves (s). */
const NOTE_EVERY_S = 0.25;
/** What must be on the disk first is given up after this (s). */
export const NOTE_WITHIN_S = 2;
const STOP_BUTTON: Stopper = { session: '', who: 'stop button' };
/** Somebody else's stop stands for at least so long (ms). */
const STOP_STANDS_MS = 2000;
/** So many who stopped are remembered. */
const STOPPERS_KEPT = 32;
/** A prop at rest is looked at every so many ticks: a board may fail, or come back. */
const REST_LOOK_TICKS = 40;
/** The drivers are asked what they measure every so many ticks: servos are told 50 times a second. */
const SENSE_EVERY_TICKS = 4;

/** Who stopped the prop: a session, or what has no session. */
export interface Stopper {
  /** Of its session; empty for the stop button, and after a restart. */
  session: string;
  who: string;
}

export interface CoreOptions {
  prop: Prop & Partial<Pick<CoreProp, 'cueDurationsS'>>;
  /** The version of the prop file that it is. */
  version?: string;
  drivers: ReadonlyMap<string, Driver>;
  clock: Clock;
  /** Where others read the state of every tick; nobody does in a rehearsal. */
  telemetry: Telemetry | undefined;
  store: Store;
  journal: Journal;
  tickMs?: number;
  /** Called when a session's link is held for lost, so that it can be dropped. */
  onLost?: (session: string) => void;
  onHolder?: (holder: string | null) => void;
  /** Called when what keeps the prop from waking and moving is other than before. */
  onSafety?: (safety: SafetyInfo) => void;
  /** Moves are gone through in mind in the first ticks, so that the first one is not slow to plan. */
  warmUp?: boolean;
  /** How other versions of the prop file come in; without it the prop stays as it is. */
  changing?: Changing;
}

/** What taking over another version of the prop file needs from outside. */
export interface Changing {
  /** The next message of a change, if there is one. */
  receive: () => ChangeMessage | undefined;
  /** A driver that is not open yet. */
  createDriver: (board: BoardSpec) => Promise<Driver>;
  /** Keeps the plan of safe levels, before the pins of other boards are claimed. */
  writePlan: (prop: CoreProp, boards: readonly Board[]) => Promise<void>;
  /** What became of a change. */
  tell: (id: number, outcome: Outcome) => void;
  /** A version is in force from now on. */
  onProp: (change: Pick<Change, 'view' | 'changed'>, body: TelemetryBody) => void;
}

/**
 * The prop as one thing: its condition, its lease, and the tick in which everything happens.
 * Commands (commands.ts) act through `gate` between ticks; outputs change in `tick` alone.
 */
export class Core {
  readonly triggers: Triggers;
  readonly lease: Lease;
  readonly waits = new Waits();
  readonly journal: Journal;
  readonly tickMs: number;
  readonly changes: Changes | undefined;
  readonly #changing: Changing | undefined;
  /** The version of the prop file that is in force. */
  #version: string;
  readonly #clock: Clock;
  readonly #telemetry: Telemetry | undefined;
  readonly #store: Store;
  readonly #onLost: (session: string) => void;
  readonly #onHolder: (holder: string | null) => void;
  readonly #onSafety: (safety: SafetyInfo) => void;
  readonly #lockout = new Lockout();
  readonly #guards = new Guards();
  readonly #startMs: number;
  /** Seconds between the machine's start and the core's own zero. */
  readonly #bootOffsetS: number;
  readonly #sense: Sense = { positionDeg: Number.NaN, amps: Number.NaN, pushing: false };
  #assembly: Assembly;
  /** A change that waits until the prop is parked. */
  #waiting: Extract<Change, { whenParked: true }> | undefined;
  /** Another version of the file is taken over at this moment: its boards are being opened. */
  #exchanging = false;
  #condition: Condition = 'parked';
  #nowMs: number;
  #nowS = 0;
  #tick = 0;
  #ticking = false;
  /** A stop of category 0 or 1 drops the power when everything has come to rest. */
  #dropWhenStill = false;
  #stopCategory: 0 | 1 | 2 = 2;
  /** The pins that enable the outputs of a chip say no: after a stop of category 0, until the reset. */
  #cut = false;
  #stopLatched = false;
  /** When a stop of category 1 drops what still moves (s). */
  #dropByS = 0;
  /** When a stop of category 2 no longer holds (s). */
  #holdUntilS = Number.POSITIVE_INFINITY;
  /** The stop button was pressed in the last tick. */
  #stopHeld = false;
  #resetting = false;
  /** Who has stopped it since the last reset, the last one last. */
  #stoppers: (Stopper & { atMs: number })[] = [];
  /** Counts stops and faults, so that a reset under way sees one that comes in between. */
  #latchings = 0;
  #ending = false;
  #attended = false;
  /** The park under way began at rest: limp servos start once that is on disk. */
  #fromRest = false;
  /** What the core last failed of, until the next reset. */
  #failure = '';
  #notedS = 0;
  /** Written once at rest, and in passing while something moves. */
  #unsettled = false;
  #moved = false;
  #relayChanges = 0;
  /** Why a prop at rest is not parked. */
  #notParked: string | undefined;
  #warmUp: WarmUp | undefined;

  constructor(options: CoreOptions) {
    this.#clock = options.clock;
    this.#telemetry = options.telemetry;
    this.#store = options.store;
    this.journal = options.journal;
    this.tickMs = options.tickMs ?? 5;
    this.#onLost = options.onLost ?? (() => {});
    this.#onHolder = options.onHolder ?? (() => {});
    this.#onSafety = options.onSafety ?? (() => {});
    if (options.warmUp) this.#warmUp = new WarmUp();
    this.#startMs = this.#clock.nowMs();
    this.#nowMs = this.#startMs;
    this.#bootOffsetS = this.#store.bootNowS();
    this.journal.tick = () => this.actingTick;
    const { drivers, changing } = options;
    const prop = { cueDurationsS: {}, ...options.prop };
    const body = Body.of(prop, drivers);
    this.#assembly = new Assembly(body, cuesOf(prop), this.journal, this.#cueEvents, this.#clock);
    this.#changing = changing;
    this.#version = options.version ?? '';
    this.changes =
      changing &&
      new Changes({
        receive: changing.receive,
        driverOf: (name, board) => this.#driverOf(name, board),
        tell: changing.tell,
        complete: (change) => this.#takeChange(change),
      });
    this.lease = new Lease(
      options.prop.link.timeoutMs,
      (slot) => this.#telemetry?.life(slot) ?? 0,
      (slot) => this.#telemetry?.received(slot) ?? 0,
    );
    this.triggers = new Triggers(this, this.#clock);
    this.#restore();
    this.#lookWhetherParked();
  }

  /** The prop in force; another one after a change of its file. */
  get prop(): CoreProp {
    return this.#assembly.body.prop;
  }

  get body(): Body {
    return this.#assembly.body;
  }

  get gate(): Gate {
    return this.#assembly.gate;
  }

  get cues(): Cues {
    return this.#assembly.cues;
  }

  get idle(): Idle {
    return this.#assembly.idle;
  }

  /** All light of the prop together. */
  get light(): PropLight {
    return this.#assembly.light;
  }

  get #parker(): Parker {
    return this.#assembly.parker;
  }

  get #waker(): Energiser {
    return this.#assembly.waker;
  }

  get condition(): Condition {
    return this.#condition;
  }

  /**
   * Whether somebody may be relied on to have looked at the prop: the daemon before this one ended as it
   * should, or a session has taken the lease since.
   */
  get attended(): boolean {
    return this.#attended;
  }

  /** The version of the prop file that is in force. */
  get version(): string {
    return this.#version;
  }

  /** The tick that carries out what is asked for or happens now. */
  get actingTick(): number {
    return this.#ticking ? this.#tick : this.#tick + 1;
  }

  /** Time of the last tick (s since the core was made). */
  get nowS(): number {
    return this.#nowS;
  }

  get nowMs(): number {
    return this.#nowMs;
  }

  /** Claims the pins of every board. @throws what a driver throws; nothing moves then */
  async open(): Promise<void> {
    const opened: Board[] = [];
    try {
      for (const board of this.body.boards) {
        await board.open(this.#clock);
        opened.push(board);
      }
    } catch (error) {
      // What was claimed is let go again, safe, before the daemon ends.
      for (const board of opened) await board.close(this.#clock).catch(() => {});
      throw error;
    }
  }

  /** Drops all power and frees the pins. */
  async close(): Promise<void> {
    this.#ending = true;
    this.#dropPower();
    this.#cut = true;
    this.#putAll();
    // Of all boards first: one cuts the outputs of another, which may hang.
    for (const board of this.body.boards)
      this.#attempt(board, () => board.flush(this.#clock.nowMs()));
    for (const board of this.body.boards) {
      await board.close(this.#clock).catch((error: Error) => this.#boardFailed(board, error));
    }
    this.#save(true);
  }

  // --- what may be asked --------------------------------------------------------------------------

  /** @throws Refusal `condition` unless commands are taken now */
  mustBeLive(): void {
    next(this.#condition, 'command');
    this.#mustBeFree();
  }

  /** What keeps the prop from waking and moving. */
  get safety(): SafetyInfo {
    const notParked = this.#notParked ?? null;
    return { lockout: this.#lockout.info, guards: this.#guards.info, notParked };
  }

  /** Whether what was last asked to be kept is on the disk. */
  get noted(): Store['noted'] {
    return this.#store.noted;
  }

  /** The condition as it is told: `parked` is said of a prop alone that is. */
  get shown(): ConditionResult {
    const condition = this.#condition;
    return this.#notParked === undefined
      ? { condition }
      : { condition, notParked: this.#notParked };
  }

  #lookWhetherParked(): void {
    const before = this.#notParked;
    this.#notParked = this.#condition === 'parked' ? notParkedText(this.body) : undefined;
    if (this.#notParked !== before) this.#onSafety(this.safety);
  }

  /** "Hands in the prop": stops what moves, and lets nothing wake or move until it is cleared. */
  setLockout(by: string, reason: string): void {
    this.#lockout.set(by, reason, new Date(this.#clock.wallMs()).toISOString());
    this.journal.add(by, 'lockout', `hands in the prop: ${reason}`, { reason });
    this.#heedLockout();
    this.#save(true);
    this.#onSafety(this.safety);
  }

  /** Moves nothing. @throws Refusal `condition` unless `by` has set it, or forces it */
  clearLockout(by: string, force: string | undefined): void {
    const cleared = force === undefined ? this.#lockout.clear(by) : this.#lockout.force();
    if (cleared.length === 0) return;
    const whose = cleared.map((lock) => `${lock.by} (${lock.reason})`).join(', ');
    const text =
      force === undefined ? 'no hands in the prop' : `the lockout of ${whose} is forced: ${force}`;
    this.journal.add(by, 'lockout', text, { cleared, ...(force !== undefined && { force }) });
    this.#save(true);
    this.#onSafety(this.safety);
  }

  #mustBeFree(): void {
    if (this.#isBlocked) throw this.#whyBlocked();
  }

  get #isBlocked(): boolean {
    return this.#lockout.active || this.#guards.broken !== '';
  }

  take(session: Session): void {
    const { holder } = this.lease;
    this.lease.take(session, this.#clock.nowMs());
    if (!session.unattended) this.#attended = true;
    if (holder && holder.id !== session.id) this.#beStill(`${session.client} took over`);
    this.journal.add(session.client, 'lease', `${session.client} holds the lease`);
    this.#changeHolder(session.client);
  }

  release(session: Session, graceS: number): void {
    const loss = this.lease.release(session, graceS, this.#clock.nowMs());
    this.#beStill(`${session.client} released the lease`);
    this.journal.add(session.client, 'lease', `${session.client} released the lease`, { graceS });
    this.#changeHolder(null);
    if (loss) this.#lose(loss);
  }

  /** Triggers that one holder has armed are not armed for the next. */
  #changeHolder(client: string | null): void {
    this.triggers.armed = false;
    this.#onHolder(client);
  }

  /** Everything that moves by itself ends, decelerates and holds. */
  #beStill(why: string): void {
    this.idle.forget();
    this.cues.stopAll(why);
    for (const servo of this.body.servos) servo.halt();
    this.gate.cancel();
  }

  /** Channels have been commanded by hand: the cues that use them end, and nothing stirs for a while. */
  byHand(channels: ReadonlySet<Actuator>, who: string): void {
    this.cues.yieldTo(channels, who);
    this.idle.disturb(this.#nowS);
  }

  /** A session is over; its right to command, if it had it, is lost. */
  drop(sessionId: string): void {
    const loss = this.lease.drop(sessionId, 'closed');
    if (loss) this.#lose(loss);
  }

  /**
   * @param confirmed a person has said that servos may start from positions that nobody knows
   * @throws Refusal `condition`, `railLimit`
   */
  wake(who: string, confirmed = false): void {
    const after = next(this.#condition, 'wake');
    if (after === this.#condition) return;
    if (this.#exchanging)
      throw new Refusal(
        'condition',
        'the prop takes over its changed file; try again in a moment',
        { condition: this.#condition },
      );
    this.#readGuards();
    this.#mustBeFree();
    const unknown = this.#unknownServos();
    if (unknown.length > 0 && !confirmed)
      throw new Refusal(
        'condition',
        `nobody knows where these servos stand: ${unknown.join(', ')}; they move one at a time, at their own speed, to their park position. Keep hands clear, then wake with confirm: "unknown"`,
        { code: 'wake.unknown-servos', condition: this.#condition, servos: unknown },
      );
    mustBeAbleToWake(this.body);
    if (unknown.length > 0)
      this.journal.add(
        who,
        'wake',
        `${who} confirmed that ${unknown.join(', ')} may move from where nobody knows`,
        { servos: unknown },
      );
    this.#enter(after, who);
    this.#holdUntilS = Number.POSITIVE_INFINITY;
    // Before the first pulse: if the power fails from here on, nobody knows where things stand.
    this.#unsettled = true;
    this.#save(true);
    this.#waker.begin(this.body.servos, this.#nowS);
  }

  /** The servos that nobody knows the position of, by name. */
  #unknownServos(): string[] {
    return this.body.servos.filter(({ known }) => !known).map(({ name }) => name);
  }

  /** @throws Refusal `condition` */
  park(who: string): void {
    const event: ConditionEvent = atRest(this.body) ? 'park at rest' : 'park away';
    const before = this.#condition;
    const after = next(before, event);
    // Its boards are closed for a moment; it is parked.
    if (this.#exchanging) return;
    if (this.#lockout.active && event === 'park away') throw this.#lockout.refusal();
    // Asked for while a lost link is being held for, it parks now.
    if (this.#parker.active) this.#parker.endHold(this.#nowS);
    if (after === before) return;
    this.#waker.cancel();
    this.#holdUntilS = Number.POSITIVE_INFINITY;
    this.#enter(after, who);
    this.#unsettled = true;
    this.#fromRest = before === 'parked';
    if (this.#fromRest) this.#save(true);
    this.#parker.begin(this.#nowS, 0, before === 'parked');
  }

  readonly #cueEvents = {
    park: (why: string): void => {
      this.journal.add('prop', 'park', `the cue parks the prop: ${why}`);
      this.park('prop');
    },
  };

  /** Whether parking, or the end of a stop, is under way: it will be at rest in a moment. */
  get comingToRest(): boolean {
    return (
      this.#parker.active || this.#dropWhenStill || this.body.servos.some((servo) => servo.moving)
    );
  }

  /** Accepted in every condition; it latches. `by` is left out where the prop stops by itself. */
  stop(category: 0 | 1 | 2, who: string, why = 'asked for', by?: Stopper): void {
    this.#latchings++;
    if (by) this.#noteStopper(by);
    const already = this.#stopLatched;
    this.#stopLatched = true;
    this.journal.add(who, 'stop', `stop category ${category}: ${why}`, { category });
    this.#enter(next(this.#condition, 'stop'), who);
    this.#stopCategory = already ? (Math.min(this.#stopCategory, category) as 0 | 1 | 2) : category;
    this.#waker.cancel();
    this.#parker.cancel();
    this.gate.cancel();
    for (const relay of this.body.relays) relay.makeSafe();
    for (const servo of this.body.servos) servo.halt();
    // What cannot be reached is tried again now.
    for (const { dead, driver } of this.body.boards) if (dead) driver.retrySafe?.();
    if (this.#stopCategory === 0) this.#cut = true;
    // At once when nothing moves: after a reset and a wake it would drop what has just woken.
    const still = !this.body.servos.some((servo) => servo.moving);
    const { deadlineS, holdS } = this.prop.stop;
    if (!this.#dropWhenStill) this.#dropByS = this.#nowS + deadlineS;
    this.#dropWhenStill = this.#stopCategory === 1 && !still;
    // Asked for again, it holds no longer.
    if (this.#stopCategory === 2 && this.body.servos.some((servo) => servo.energised))
      this.#holdUntilS = Math.min(this.#holdUntilS, this.#nowS + holdS);
    if (this.#stopCategory === 0 || (this.#stopCategory === 1 && still)) this.#dropPower();
    this.#save(true);
  }

  #noteStopper({ session, who }: Stopper): void {
    const atMs = this.#clock.nowMs();
    const last = this.#stoppers.at(-1);
    if (last && last.session === session && last.who === who) {
      last.atMs = atMs;
      return;
    }
    const others = this.#stoppers.filter((one) => one.session !== session || one.who !== who);
    this.#stoppers = [...others, { session, who, atMs }].slice(-STOPPERS_KEPT);
  }

  /**
   * Whoever stopped may have had a reason that others cannot see: their stop is lifted by themselves, or
   * by somebody who names them, and stands for a moment in any case.
   */
  #mayReset(session: string | undefined, confirm: string | undefined): void {
    const other = this.#stoppers.findLast((one) => one.session !== session || session === '');
    if (!other) return;
    const { who } = other;
    if (confirm !== who)
      throw new Refusal(
        'condition',
        `${who} stopped the prop; see that it is safe, then reset with confirm: ${JSON.stringify(who)}`,
        { code: 'reset.confirm', condition: this.#condition, stoppedBy: who },
      );
    const leftMs = other.atMs + STOP_STANDS_MS - this.#clock.nowMs();
    if (leftMs > 0)
      throw new Refusal(
        'condition',
        `${who} has only just stopped the prop; reset in ${tidy(leftMs / 1000, 1)} s`,
        {
          code: 'reset.too-soon',
          condition: this.#condition,
          stoppedBy: who,
          waitS: Math.ceil(leftMs / 100) / 10,
        },
      );
  }

  /**
   * Lets go of a stop or a fault; moves nothing.
   * @param session who asks
   * @param confirm names whoever stopped, where that was somebody else
   * @throws Refusal `condition`
   */
  async reset(who: string, session?: string, confirm?: string): Promise<void> {
    if (next(this.#condition, 'reset') === this.#condition) return;
    if (this.#resetting) this.#refuseReset('a reset is under way already; wait for its answer');
    if (this.#parker.active || this.body.servos.some((servo) => servo.moving))
      this.#refuseReset('something still moves; wait until it stands still');
    if (this.#stopPressed() && !this.body.stopInput!.board.dead)
      this.#refuseReset('the stop button is pressed; release it, then reset');
    this.#mayReset(session, confirm);
    const latchings = this.#latchings;
    this.#resetting = true;
    try {
      for (const board of this.body.boards) if (board.dead) await this.#reopen(board);
    } finally {
      this.#resetting = false;
    }
    // Ticks went on while the boards were opened: what was true before may not be now.
    if (this.#stopPressed())
      this.#refuseReset('the stop button is pressed; release it, then reset');
    if (latchings !== this.#latchings)
      this.#refuseReset('the prop was stopped again meanwhile; see that it is safe, then reset');
    const dead = this.body.boards.find((board) => board.dead);
    if (dead) this.#refuseReset(`board ${dead.name} has failed again; mend it, then reset`);
    this.#enter(next(this.#condition, 'reset'), who);
    this.#failure = '';
    this.#cut = false;
    this.#stoppers = [];
    this.#stopLatched = false;
    // What stands at its park position may stay there; what is held elsewhere is held no longer for that.
    if (atRest(this.body)) this.#holdUntilS = Number.POSITIVE_INFINITY;
    this.#save(true);
  }

  #refuseReset(reason: string): never {
    throw new Refusal('condition', reason, { condition: this.#condition });
  }

  // --- the tick -----------------------------------------------------------------------------------

  /** One tick at `nowMs`, `elapsed` periods after the one before. */
  readonly tick = (nowMs: number, elapsed: number): void => {
    this.#nowMs = nowMs;
    this.#nowS = (nowMs - this.#startMs) / 1000;
    this.body.nowS = this.#nowS;
    this.#tick++;
    this.#ticking = true;
    try {
      this.#run(elapsed);
    } catch (error) {
      this.fail(error as Error);
    }
    this.noteClosures();
    this.#putAll();
    const { boards } = this.body;
    for (let i = 0; i < boards.length; i++) this.#flush(boards[i]!);
    if (this.#telemetry) this.#publish(this.#telemetry);
    this.waits.tick();
    this.#note();
    this.#ticking = false;
    this.journal.settle();
    if (this.changes) this.#change(this.changes);
    if (this.#condition === 'parked' && this.#tick % REST_LOOK_TICKS === 0)
      this.#lookWhetherParked();
    if (this.#warmUp) this.#warmUpOn(this.#warmUp);
  };

  #warmUpOn(warmUp: WarmUp): void {
    const busy = this.body.servos.some(({ moving, delayed }) => moving || delayed);
    if (!busy && !this.cues.anyRunning) warmUp.tick(this.body, this.gate);
    if (warmUp.over) this.#warmUp = undefined;
  }

  #run(elapsed: number): void {
    const nowS = this.#nowS;
    this.#supervise(elapsed);
    this.#heedStopButton();
    this.#heedGuards();
    const free = this.gate.blocked === undefined;
    const mayWake = this.#condition === 'waking' && free && this.#mayEnergise();
    if (mayWake && this.#waker.tick(nowS)) {
      this.#enter('live', 'prop');
      this.#save(true);
    }
    if (this.#parker.active && this.#mayPark()) this.#runPark();
    this.triggers.tick(this.#nowMs);
    this.cues.ready();
    if (this.#condition === 'live' && free) {
      this.idle.tick();
      this.cues.tick();
    }
    if (free || this.#parker.active) this.gate.retry();
    const { body } = this;
    body.dtS = (Math.min(elapsed, MAX_CATCH_UP_TICKS) * this.tickMs) / 1000;
    const { servos, lights } = body;
    for (let i = 0; i < servos.length; i++) {
      const servo = servos[i]!;
      if (!servo.moving) continue;
      this.#moved = true;
      servo.advance(body);
    }
    for (let i = 0; i < lights.length; i++) lights[i]!.advance();
    if (this.#senses) this.#measure();
    this.gate.enforce();
    this.light.tick();
    this.gate.measureRails();
    if (this.#dropWhenStill) this.#dropInTime();
    if (nowS >= this.#holdUntilS) this.#endHold();
  }

  #dropInTime(): void {
    const moving = this.body.servos.filter((servo) => servo.moving);
    if (moving.length > 0) {
      if (this.#nowS < this.#dropByS) return;
      const names = moving.map(({ name }) => name).join(', ');
      const { deadlineS } = this.prop.stop;
      this.stop(0, 'prop', `not at rest within ${deadlineS} s of a stop of category 1: ${names}`);
      return;
    }
    this.#dropPower();
    this.#save(true);
  }

  /** Held for long enough: servos that nobody relieves grow hot, and somebody may be caught. */
  #endHold(): void {
    this.#holdUntilS = Number.POSITIVE_INFINITY;
    this.stop(0, 'prop', `held for ${this.prop.stop.holdS} s after a stop of category 2`);
  }

  /**
   * Before anybody is heard. When the main thread stood still, what waited for it may be older than
   * the link's time-out: then the lease is lost first, as the next tick would find.
   */
  catchUp(): void {
    this.#loseIfStalled(this.#clock.nowMs() - this.#nowMs);
  }

  #loseIfStalled(stalledMs: number): boolean {
    const { holder } = this.lease;
    if (stalledMs <= this.prop.link.timeoutMs || !holder) return false;
    this.journal.add('prop', 'stalled', `the daemon stood still for ${tidy(stalledMs, 0)} ms`);
    this.#onLost(holder.id);
    this.#lose(this.lease.drop(holder.id, 'silent')!);
    return true;
  }

  #supervise(elapsed: number): void {
    if (this.#loseIfStalled(elapsed * this.tickMs)) return;
    const { holder } = this.lease;
    const loss = this.lease.check(this.#nowMs);
    if (!loss) return;
    if (holder) this.#onLost(holder.id);
    this.#lose(loss);
  }

  /** Nobody commands any more: the prop looks after itself. */
  #lose(loss: Loss): void {
    const lost = loss.why === 'silent' || loss.why === 'closed';
    if (lost) {
      this.journal.add('prop', 'link lost', `${loss.client} is gone: ${loss.why}`, { ...loss });
      this.#changeHolder(null);
    }
    if (this.#condition !== 'live' && this.#condition !== 'waking') return;
    this.#waker.cancel();
    this.#enter(next(this.#condition, 'park away'), 'prop', lost ? 'link lost' : loss.why);
    const { onLoss, holdS } = this.prop.link;
    this.#parker.begin(this.#nowS, lost && onLoss === 'hold-then-park' ? (holdS ?? 0) : 0, false);
  }

  /** Before the first pulse it must be on disk that things are not at rest any more. */
  #mayEnergise(): boolean {
    const { noted } = this.#store;
    if (noted === 'yes') return true;
    if (noted === 'not yet') return false;
    this.journal.add(
      'prop',
      'state',
      `the prop stays parked, as the state cannot be saved: ${noted.message}; let the daemon write into its state folder, then wake`,
    );
    this.park('prop');
    return false;
  }

  /** As `#mayEnergise`, for a park that starts limp servos. */
  #mayPark(): boolean {
    if (!this.#fromRest) return true;
    const { noted } = this.#store;
    if (noted === 'not yet') return false;
    this.#fromRest = false;
    if (noted === 'yes') return true;
    this.#parker.cancel();
    this.journal.add(
      'prop',
      'state',
      `nothing moves, as the state cannot be saved: ${noted.message}; let the daemon write into its state folder, then park`,
    );
    this.#enter(next(this.#condition, 'at rest'), 'prop');
    return false;
  }

  #runPark(): void {
    const outcome = this.#parker.tick(this.#nowS);
    if (outcome === 'parking') return;
    if (outcome === 'late') {
      const names = this.#parker.unfinished().join(', ');
      this.stop(0, 'prop', `not parked within ${this.prop.park.deadlineS} s: ${names}`);
      return;
    }
    this.#enter(next(this.#condition, 'at rest'), 'prop');
    this.#unsettled = false;
    this.#save(true);
  }

  /** Pressed while a stop or a fault is latched, it still stops what moves, and drops the power. */
  #heedStopButton(): void {
    const pressed = this.#stopPressed();
    // One that cannot be read was pressed by nobody.
    const by = pressed && !this.body.stopInput!.board.dead ? STOP_BUTTON : undefined;
    const latched = this.#condition === 'stopped' || this.#condition === 'faulted';
    if (pressed && !(latched && this.#stopHeld))
      this.stop(this.prop.stopInput!.category, 'prop', 'stop button', by);
    else if (by) this.#noteStopper(by);
    this.#stopHeld = pressed;
  }

  /** What moves, or is about to. */
  get #acting(): boolean {
    const now = this.#condition;
    return now === 'live' || now === 'waking' || now === 'parking' || this.#parker.active;
  }

  #heedLockout(): void {
    if (this.#lockout.active && this.#acting) this.stop(1, 'prop', 'hands in the prop');
  }

  /** Once a tick: the key switch and the guards. */
  #heedGuards(): void {
    this.#readGuards();
    this.#heedLockout();
    const guards = this.#guards;
    const category = guards.stops;
    if (category !== undefined && this.#acting)
      this.stop(category, 'prop', `guard broken: ${guards.broken}`);
    if (!this.#isBlocked) {
      this.gate.blocked = undefined;
      return;
    }
    const isNew = this.gate.blocked === undefined;
    this.gate.blocked = this.#whyBlocked;
    if (this.#condition !== 'live' || this.#parker.active) return;
    // What would go on by itself is ended, and nothing that it began is finished.
    if (isNew || this.cues.anyRunning || this.idle.running !== null)
      this.#beStill(`guard broken: ${guards.broken}`);
  }

  readonly #whyBlocked = (): Refusal =>
    this.#lockout.active ? this.#lockout.refusal() : this.#guards.refusal();

  readonly #levelOfContact = ({ board, input }: SafetyInput): 0 | 1 | undefined =>
    this.levelOf(board, input);

  #readGuards(): void {
    const guards = this.#guards;
    const news = guards.look(this.body, this.#clock.nowMs(), this.#levelOfContact);
    if (news)
      this.journal.add(
        'prop',
        'guard',
        guards.broken === '' ? 'all guards are whole' : `guard broken: ${guards.broken}`,
        { guards: guards.info },
      );
    const turned = this.#lockout.turn(guards.locked, this.#clock);
    if (turned)
      this.journal.add(
        'prop',
        'lockout',
        guards.locked ? 'hands in the prop: the key switch is on' : 'the key switch is off',
      );
    if (news || turned) this.#onSafety(this.safety);
  }

  /** A button that can no longer be read counts as pressed, as a wire break does. */
  #stopPressed(): boolean {
    const { stopInput } = this.body;
    // While its board is being opened the prop is parked and nothing moves.
    if (!stopInput || stopInput.board.away) return false;
    const level = this.levelOf(stopInput.board, stopInput.input);
    return level === undefined || level === stopInput.pressedLevel;
  }

  /** The level of an input; undefined when its board has failed, or fails now. */
  levelOf(board: Board, input: number): 0 | 1 | undefined {
    if (board.dead || board.away) return undefined;
    let level: 0 | 1 | undefined;
    this.#attempt(board, () => {
      level = board.driver.read(input);
    });
    return level;
  }

  /** In the first tick and in every fourth after it. */
  get #senses(): boolean {
    return this.#tick % SENSE_EVERY_TICKS === 1;
  }

  #measure(): void {
    const sense = this.#sense;
    const { servos } = this.body;
    for (let i = 0; i < servos.length; i++) {
      const servo = servos[i]!;
      const { driver, dead, away } = servo.board;
      if (!driver.sense || dead || away) continue;
      try {
        driver.sense(servo.output, this.#nowMs, sense);
      } catch (error) {
        this.#boardFailed(servo.board, error as Error);
        continue;
      }
      servo.measuredDeg = sense.positionDeg;
      servo.measuredA = sense.amps;
      servo.pushing = sense.pushing;
    }
  }

  #enter(condition: Condition, who: string, why?: string): void {
    if (condition === this.#condition) return;
    this.#condition = condition;
    this.#telemetry?.setCondition(CONDITIONS.indexOf(condition));
    if (condition !== 'live') {
      this.idle.forget();
      this.cues.clear();
    }
    if (condition === 'parked') this.lease.endGrace();
    this.#lookWhetherParked();
    const text = conditionText(this.shown);
    this.journal.add(who, 'condition', `${text}${why ? `: ${why}` : ''}`, { condition });
  }

  #dropPower(): void {
    this.#dropWhenStill = false;
    this.#holdUntilS = Number.POSITIVE_INFINITY;
    for (const servo of this.body.servos) servo.release(this.#nowS);
    for (const relay of this.body.relays) relay.makeSafe();
    for (const light of this.body.lights) light.cut(this.#nowS);
    // Nothing is sent to any servo: what is known of them now holds until the next wake.
    this.#unsettled = false;
  }

  // --- faults -------------------------------------------------------------------------------------

  /** The core itself failed: no rule can be trusted to hold, so the power goes. */
  fail(error: Error): void {
    this.#latchings++;
    this.#enter(next(this.#condition, 'fault'), 'prop', error.message);
    this.#waker.cancel();
    this.#parker.cancel();
    this.gate.cancel();
    this.#dropPower();
    this.#cut = true;
    // A cause that lasts comes back with every tick: told and saved once.
    if (error.message === this.#failure) return;
    this.#failure = error.message;
    this.journal.add('prop', 'fault', `the core failed: ${error.message}`, { stack: error.stack });
    this.#save(true);
  }

  /** As `#attempt`, which would allocate what it is given in every tick. */
  #flush(board: Board): void {
    try {
      board.flush(this.#nowMs);
    } catch (error) {
      this.#boardFailed(board, error as Error);
    }
  }

  #attempt(board: Board, act: () => void): void {
    try {
      act();
    } catch (error) {
      this.#boardFailed(board, error as Error);
    }
  }

  /**
   * One board is gone: what is left is parked. From rest nothing moves: a stop stays latched, and
   * somebody may be at work on a parked prop.
   */
  #boardFailed(board: Board, error: Error): void {
    board.dead = true;
    this.journal.add('prop', 'fault', `board ${board.name}: ${error.message}`, {
      board: board.name,
    });
    this.#waker.cancel();
    this.gate.cancel();
    const before = this.#condition;
    this.#enter(next(this.#condition, 'fault'), 'prop', `board ${board.name}`);
    for (const servo of this.body.servos)
      if (servo.board === board) {
        servo.release(this.#nowS);
        servo.known = false;
      }
    for (const light of this.body.lights) if (light.board === board) light.cut(this.#nowS);
    for (const relay of this.body.relays) relay.makeSafe();
    if (before === 'live' || before === 'waking' || before === 'parking')
      this.#parker.begin(this.#nowS, 0, false);
    this.#save(true);
  }

  async #reopen(board: Board): Promise<void> {
    try {
      await board.open(this.#clock);
    } catch (error) {
      throw new Refusal(
        'condition',
        `board ${board.name} still fails: ${(error as Error).message}; mend it, then reset`,
        { condition: this.#condition, board: board.name },
      );
    }
  }

  // --- another version of the prop file -------------------------------------------------------------

  #change(changes: Changes): void {
    if (!this.#exchanging) changes.tick();
    const waiting = this.#waiting;
    if (!waiting || this.#condition !== 'parked' || this.#exchanging || this.#resetting) return;
    this.#waiting = undefined;
    void this.#exchange(waiting);
  }

  #takeChange(change: Change): void {
    const { tell, onProp } = this.#changing!;
    if (change.whenParked) {
      if (this.#waiting) tell(this.#waiting.id, 'replaced');
      this.#waiting = change;
      if (this.#condition !== 'parked') tell(change.id, 'waits');
      return;
    }
    if (change.base !== this.#version) {
      tell(change.id, 'stale');
      return;
    }
    this.#takeNow(change);
    this.#version = change.version;
    // First, so that whoever hears of it and asks the service is told of the new one.
    tell(change.id, 'adopted');
    onProp(change, this.#telemetry!.buffers);
  }

  /** Marks, cues, poses and the like, while the prop runs. */
  #takeNow({ rest, channels, cues, cueSpecs }: Extract<Change, { whenParked: false }>): void {
    const { body, idle, triggers } = this;
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
    for (const [name, spec] of channels) {
      const actuator = body.channel(name);
      if (actuator.kind !== 'servo' || spec.kind !== 'servo') continue;
      actuator.marks = new Map(Object.entries(spec.marks ?? {}));
      actuator.parkTo = spec.park.to;
      actuator.takeLimits(spec.limitsDeg);
    }
    if (rest.groups) body.regroup(rest.groups);
    this.cues.replace(cues);
    if (rest.idle) idle.follow(this.#nowS);
    if (rest.triggers) triggers.follow();
  }

  async #driverOf(name: string, board: BoardSpec): Promise<Driver> {
    const open = this.body.boards.find((one) => one.name === name);
    if (open && isDeepStrictEqual(this.prop.boards[name], board)) return open.driver;
    return this.#changing!.createDriver(board);
  }

  /** Puts a prop that was put together again in the place of the present one. Nothing moves. */
  async #exchange(change: Extract<Change, { whenParked: true }>): Promise<void> {
    const { assembling, id } = change;
    const { tell, onProp, writePlan } = this.#changing!;
    this.#exchanging = true;
    const before = this.body.boards;
    const after = assembling.body.boards;
    try {
      const assembly = assembling.complete(this.journal, this.#cueEvents, this.#clock);
      const likeOf = (board: Board) => before.find((one) => one.isLike(board));
      const closing = before.filter((board) => !after.some((one) => likeOf(one) === board));
      const opening = after.filter((board) => !likeOf(board));
      if (closing.length + opening.length > 0) {
        const boards = after.map((board) => likeOf(board) ?? board);
        await this.#reboard(
          closing,
          opening,
          () => writePlan(assembling.body.prop, boards),
          () => writePlan(this.prop, before),
        );
      }
      this.#succeed(assembly, likeOf);
    } catch (error) {
      this.#exchanging = false;
      tell(id, { rejected: (error as Error).message });
      return;
    }
    this.#exchanging = false;
    this.#version = change.version;
    tell(id, 'adopted');
    onProp(change, this.#telemetry!.buffers);
    this.#save(true);
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
    const opened: Board[] = [];
    for (const board of closing) board.away = true;
    try {
      for (const board of closing) await board.close(this.#clock);
      await between();
      for (const board of opening) {
        await board.open(this.#clock);
        opened.push(board);
      }
    } catch (error) {
      for (const board of opened) await board.close(this.#clock).catch(() => {});
      // The last defence must know of the boards that are opened now; without it they go on all the same.
      await back().catch((why: Error) => this.journal.add('prop', 'fault', why.message));
      for (const board of closing) {
        try {
          await board.open(this.#clock);
          board.away = false;
          for (const light of this.body.lights) if (light.board === board) light.touch();
        } catch (again) {
          board.away = false;
          this.#boardFailed(board, again as Error);
        }
      }
      throw error;
    }
  }

  /** The new assembly goes on where the old one stands. */
  #succeed(assembly: Assembly, likeOf: (board: Board) => Board | undefined): void {
    const old = this.body;
    const { body } = assembly;
    for (const board of body.boards) {
      const like = likeOf(board);
      if (like) board.takeOver(like);
    }
    for (const actuator of body.channels) {
      const was = old.find(actuator.name);
      const pulsesGoOn = likeOf(actuator.board) !== undefined;
      if (actuator.kind === 'servo') {
        if (was?.kind === 'servo' && actuator.standsLike(was)) actuator.resume(was, pulsesGoOn);
      } else if (actuator.kind === 'relay') {
        if (was?.kind === 'relay' && placeIn(old, was) === placeIn(body, actuator))
          actuator.resume(was, pulsesGoOn);
        else actuator.duty?.demandRest(this.#nowS);
      } else if (was?.kind === actuator.kind && was.atPark && !actuator.atPark)
        actuator.fadeToPark();
    }
    assembly.light.resume(this.#assembly.light);
    body.nowS = this.#nowS;
    this.#assembly = assembly;
    this.lease.timeoutMs = body.prop.link.timeoutMs;
    this.triggers.follow();
    this.triggers.look();
    this.#telemetry?.useBody(Telemetry.body(body.channels.length, body.rails.length));
    this.#relayChanges = Number.NaN;
    // What was listed, and who waits, look at the new one.
    if (this.#telemetry) this.#publish(this.#telemetry);
  }

  // --- outwards -----------------------------------------------------------------------------------

  #putAll(): void {
    const { channels } = this.body;
    for (let i = 0; i < channels.length; i++) channels[i]!.put();
    const { enables } = this.body;
    for (let i = 0; i < enables.length; i++) {
      const { board, host, output } = enables[i]!;
      // The pin is active when low.
      host.put(output, this.#cut || board.dead || board.away ? 1 : 0);
    }
  }

  #publish(telemetry: Telemetry): void {
    telemetry.begin(this.body, this.#tick, CONDITIONS.indexOf(this.#condition));
    const { channels, rails } = this.body;
    const { numbers } = telemetry;
    for (let i = 0; i < channels.length; i++) this.#publishChannel(channels[i]!, telemetry);
    for (let i = 0; i < rails.length; i++) {
      const at = telemetry.railAt(i);
      numbers[at + RAIL_FIELD.amps] = rails[i]!.amps;
      // No driver measures a rail yet.
      numbers[at + RAIL_FIELD.measuredA] = Number.NaN;
    }
    telemetry.commit();
  }

  #publishChannel(channel: Actuator, telemetry: Telemetry): void {
    const { numbers } = telemetry;
    const at = telemetry.channelAt(channel.index);
    numbers[at + FIELD.flags] = this.flags(channel);
    channel.writeState(numbers, at, this.body);
    if (channel.kind !== 'servo' || !this.#senses) return;
    numbers[at + FIELD.measuredDeg] = channel.measuredDeg;
    numbers[at + FIELD.measuredA] = channel.measuredA;
  }

  /** The FLAG bits of a channel. */
  flags(channel: Actuator): number {
    if (channel.kind === 'servo')
      return (
        (channel.moving ? FLAG.moving : 0) |
        (channel.energised ? 0 : FLAG.released) |
        (channel.known && this.#nowS >= channel.jumpUntilS ? 0 : FLAG.unknown) |
        (channel.beyond ? FLAG.beyond : 0) |
        (channel.pushing ? FLAG.pushing : 0) |
        (channel.interlocked ? FLAG.interlocked : 0) |
        (channel.delayed ? FLAG.delayed : 0)
      );
    // Nobody can tell whether a board that cannot be reached has opened or darkened what hangs on it.
    const unknown = channel.board.unknown ? FLAG.unknown : 0;
    if (channel.kind === 'relay')
      return (
        unknown |
        (channel.waiting ? FLAG.delayed : 0) |
        (channel.interlocked ? FLAG.interlocked : 0) |
        (channel.flashHeld ? FLAG.flashHeld : 0) |
        (channel.duty && channel.duty.restLeftS(this.#nowS) > 0 ? FLAG.resting : 0)
      );
    return (
      unknown |
      (channel.fading ? FLAG.moving : 0) |
      (channel.flashHeld ? FLAG.flashHeld : 0) |
      (channel.interlocked ? FLAG.interlocked : 0)
    );
  }

  // --- what outlives the daemon -------------------------------------------------------------------

  #note(): void {
    const { relays } = this.body;
    let relayChanges = 0;
    for (let i = 0; i < relays.length; i++)
      relayChanges += relays[i]!.changes + relays[i]!.contacts;
    const positionsDue = this.#moved && this.#nowS - this.#notedS >= NOTE_EVERY_S;
    if (positionsDue || relayChanges !== this.#relayChanges) this.#save(false);
    this.#relayChanges = relayChanges;
  }

  /**
   * A relay with a duty guard closes when it is on the disk that it does: after a power cut in the
   * middle of a closure the next run must know of it. A disk that fails or hangs leaves it open.
   */
  noteClosures(): void {
    const { relays } = this.body;
    let due = false;
    for (let i = 0; i < relays.length; i++) {
      const relay = relays[i]!;
      if (!relay.on || relay.closed) continue;
      relay.held = this.#mustFollow(relay);
      if (!relay.duty || relay.noted === 'yes') continue;
      due ||= relay.noted === 'no';
      if (relay.noted === 'asked') this.#lookAtNote(relay);
      if (relay.on && this.#nowS - relay.notedFromS > NOTE_WITHIN_S)
        this.#giveUp(relay, `the disk does not answer within ${NOTE_WITHIN_S} s`);
    }
    // One at a time: what asks while one is on its way would keep the first one waiting.
    if (!due || this.#store.noted === 'not yet') return;
    for (const relay of relays)
      if (relay.on && !relay.closed && relay.duty && relay.noted === 'no') relay.noted = 'asked';
    this.#save(true);
    for (const relay of relays) if (relay.noted === 'asked') this.#lookAtNote(relay);
  }

  /** Whether a relay that must be closed before this one still waits. */
  #mustFollow({ spec }: Relay): boolean {
    if (!spec.requires) return false;
    for (const requirement of spec.requires) {
      if (!('is' in requirement) || requirement.is !== 'on') continue;
      const other = this.body.find(requirement.channel);
      if (other?.kind === 'relay' && !other.closed && other.duty && other.noted !== 'yes')
        return true;
    }
    return false;
  }

  #lookAtNote(relay: Relay): void {
    const { noted } = this.#store;
    if (noted === 'yes') relay.noted = 'yes';
    else if (noted !== 'not yet') this.#giveUp(relay, noted.message);
  }

  #giveUp(relay: Relay, why: string): void {
    relay.set(false);
    relay.refusal = `${relay.name} stays open: its closure cannot be noted, and a power cut would make its duty guard forget it (${why}); let the daemon write into its state folder, then try again`;
    this.journal.add('prop', 'duty', relay.refusal, { channel: relay.name });
  }

  /** Notes positions and duty guards; `durable` when a power cut must not lose it. */
  #save(durable: boolean): void {
    this.#notedS = this.#nowS;
    this.#moved = false;
    const positions: Record<string, number> = {};
    const digests: Record<string, string> = {};
    for (const servo of this.body.servos) {
      if (!servo.known) continue;
      positions[servo.name] = servo.state.pos;
      digests[servo.name] = servo.digest;
    }
    const duty: Record<string, NotedDuty> = {};
    for (const relay of this.body.relays) {
      if (!relay.duty) continue;
      const { usedS, on, changedS } = relay.duty.record(this.#nowS);
      duty[relay.name] = {
        usedS,
        // Said before it is so: the contact closes when this is on the disk.
        on: on || relay.on,
        // Never closed in this run, it has no time; JSON knows no infinity.
        changedS: Number.isFinite(changedS) ? changedS + this.#bootOffsetS : 0,
        output: placeIn(this.body, relay),
      };
    }
    const { kept } = this.#lockout;
    const lockout = kept.length > 0 ? { lockout: kept } : {};
    const condition = this.#condition;
    const latched = condition === 'stopped' || condition === 'faulted';
    this.#store.save(
      {
        settled: !this.#unsettled,
        ...{ positions, digests, duty, ...lockout },
        ...(latched && {
          latched: { condition, stoppedBy: this.#stoppers.map(({ who }) => who) },
        }),
        // A daemon that ends faulted, or that nobody has looked at since a crash, is no better than a crash.
        clean: this.#ending && this.#attended && condition !== 'faulted',
      },
      durable,
    );
  }

  #restore(): void {
    const { restored } = this.#store;
    this.#restoreDuty(typeof restored === 'string' ? undefined : restored);
    this.#attended = restored === 'none' || (restored !== 'damaged' && restored.clean === true);
    if (restored === 'none') return;
    if (restored === 'damaged') {
      this.journal.add('prop', 'state', 'the saved state is damaged: positions are not known');
      return;
    }
    this.#lockout.restore(restored.lockout ?? []);
    const { latched } = restored;
    if (latched) {
      this.#condition = latched.condition;
      for (const who of latched.stoppedBy) this.#noteStopper({ session: '', who });
      const by = latched.stoppedBy.at(-1);
      const text = `still ${latched.condition} since before the daemon started`;
      this.journal.add('prop', 'condition', by === undefined ? text : `${text}: by ${by}`, {
        condition: latched.condition,
      });
    }
    // Positions noted in passing are up to a quarter of a second old, and limbs have fallen since.
    const { digests = {} } = restored;
    for (const servo of this.body.servos) {
      if (!restored.settled || !Object.hasOwn(restored.positions, servo.name)) continue;
      if (!Object.hasOwn(digests, servo.name) || digests[servo.name] !== servo.digest) continue;
      const deg = restored.positions[servo.name]!;
      const [low, high] = servo.envelopeDeg;
      if (!(deg >= low && deg <= high)) continue;
      servo.standAt(deg);
      servo.known = true;
    }
  }

  /** What nobody knows to have rested rests first: a new channel, another name, another pin. */
  #restoreDuty(restored: Restored | undefined): void {
    const resting: string[] = [];
    for (const relay of this.body.relays) {
      if (!relay.duty) continue;
      const record = restored?.duty[relay.name];
      const mine = restored && Object.hasOwn(restored.duty, relay.name);
      if (record && mine && record.output === placeIn(this.body, relay)) {
        const changedS = record.changedS - this.#bootOffsetS;
        relay.duty.restore({ ...record, changedS }, restored.sameBoot, this.#nowS);
      } else {
        relay.duty.demandRest(this.#nowS);
        resting.push(`${relay.name} (${relay.spec.duty!.restS} s)`);
      }
    }
    if (resting.length > 0)
      this.journal.add(
        'prop',
        'duty',
        `nobody knows how long these were closed before, so they rest first: ${resting.join(', ')}`,
      );
  }
}

/** Which pin of the real world a relay of this body is on. */
function placeIn({ prop }: Body, { spec: { output } }: Relay): string {
  return placeOf(output.board, prop.boards[output.board], output.pin);
}
