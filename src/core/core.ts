import type { ConditionResult } from '../api/types.ts';
import type { Driver } from '../boards/board.ts';
import type { Prop } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import { CONDITIONS, type Condition } from '../shared/condition.ts';
import { conditionText } from '../shared/condition-text.ts';
import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';
import { Telemetry } from '../shared/telemetry.ts';
import { tidy } from '../shared/units.ts';
import type { Actuator } from './actuators.ts';
import { Assembly, cuesOf } from './assembly.ts';
import { BoardIo } from './board-io.ts';
import type { Board } from './boards.ts';
import { Body, type SafetyInput } from './body.ts';
import { type ConditionEvent, next } from './condition.ts';
import type { CoreProp } from './core-prop.ts';
import type { Cues } from './cues.ts';
import { type Changing, type ExchangeHost, PropExchange } from './exchange.ts';
import type { Gate } from './gate.ts';
import type { Idle } from './idle.ts';
import { Inhibits } from './inhibits.ts';
import type { Journal } from './journal.ts';
import { Lease, type Loss, type Session } from './lease.ts';
import { atRest, type Parker } from './park.ts';
import type { PropLight } from './prop-light.ts';
import { publish } from './publish.ts';
import type { SafetyInfo } from './requests.ts';
import { notParkedText } from './rest-text.ts';
import { type Kept, StateKeeper } from './state-keeper.ts';
import { type StopCategory, StopLatch } from './stop-latch.ts';
import { type Stopper, Stoppers } from './stoppers.ts';
import type { Store } from './store.ts';
import { Triggers } from './triggers.ts';
import { Waits } from './waits.ts';
import { mustBeAbleToWake, type Waker } from './waker.ts';
import { WarmUp } from './warm-up.ts';

/** After a stall, motion is advanced by this many ticks at most: it resumes, it does not jump. */
const MAX_CATCH_UP_TICKS = 4;
const STOP_BUTTON: Stopper = { session: '', who: 'stop button' };
/** A prop at rest is looked at every so many ticks: a board may fail, or come back. */
const REST_LOOK_TICKS = 40;
/** The drivers are asked what they measure every so many ticks: servos are told 50 times a second. */
const SENSE_EVERY_TICKS = 4;

interface CoreOptions {
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
  /** Takes other versions of the prop file over. */
  readonly exchange: PropExchange | undefined;
  /** The version of the prop file at the start. */
  readonly #version: string;
  readonly #clock: Clock;
  readonly #telemetry: Telemetry | undefined;
  /** What is kept across restarts. */
  readonly state: StateKeeper;
  readonly #onLost: (session: string) => void;
  readonly #onHolder: (holder: string | null) => void;
  readonly #onSafety: (safety: SafetyInfo) => void;
  readonly #inhibits: Inhibits;
  readonly #startMs: number;
  readonly #io: BoardIo;
  #assembly: Assembly;
  #condition: Condition = 'parked';
  #nowMs: number;
  #nowS = 0;
  #tick = 0;
  #ticking = false;
  readonly #stopLatch = new StopLatch();
  /** The stop button was pressed in the last tick. */
  #stopHeld = false;
  #resetting = false;
  readonly #stoppers = new Stoppers();
  /** Counts stops and faults, so that a reset under way sees one that comes in between. */
  #latchings = 0;
  #ending = false;
  #attended = false;
  /** The park under way began at rest: limp servos start once that is on disk. */
  #fromRest = false;
  /** What the core last failed of, until the next reset. */
  #failure = '';
  /** Why a prop at rest is not parked. */
  #notParked: string | undefined;
  #warmUp: WarmUp | undefined;

  constructor(options: CoreOptions) {
    this.#clock = options.clock;
    this.#telemetry = options.telemetry;
    this.journal = options.journal;
    this.tickMs = options.tickMs ?? 5;
    this.#onLost = options.onLost ?? (() => {});
    this.#onHolder = options.onHolder ?? (() => {});
    this.#onSafety = options.onSafety ?? (() => {});
    if (options.warmUp) this.#warmUp = new WarmUp();
    this.#startMs = this.#clock.nowMs();
    this.#nowMs = this.#startMs;
    this.journal.tick = () => this.actingTick;
    this.#io = new BoardIo(this.#clock, (board, error) => this.#boardFailed(board, error));
    this.#inhibits = new Inhibits(this.journal, this.#clock, () => this.#onSafety(this.safety));
    const { drivers, changing } = options;
    const prop = { cueDurationsS: {}, ...options.prop };
    const body = Body.of(prop, drivers);
    this.#assembly = new Assembly(body, cuesOf(prop), this.journal, this.#cueEvents, this.#clock);
    this.#version = options.version ?? '';
    this.exchange =
      changing &&
      new PropExchange(this.#version, changing, this.#exchangeHost, this.journal, this.#clock);
    this.lease = new Lease(
      options.prop.link.timeoutMs,
      (slot) => this.#telemetry?.life(slot) ?? 0,
      (slot) => this.#telemetry?.received(slot) ?? 0,
    );
    this.triggers = new Triggers(this, this.#clock);
    this.state = new StateKeeper(options.store, this.journal, this.#kept);
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

  get #waker(): Waker {
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
    return this.exchange?.version ?? this.#version;
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
    await this.#io.open(this.body.boards);
  }

  /** Drops all power and frees the pins. */
  async close(): Promise<void> {
    this.#ending = true;
    this.#dropPower();
    this.#stopLatch.cut = true;
    this.#io.put(this.body, true);
    await this.#io.close(this.body.boards);
    this.state.save(true);
  }

  // --- what may be asked --------------------------------------------------------------------------

  /** @throws Refusal `condition` unless commands are taken now */
  mustBeLive(): void {
    next(this.#condition, 'command');
    this.#inhibits.mustBeFree();
  }

  /** What keeps the prop from waking and moving. */
  get safety(): SafetyInfo {
    return { ...this.#inhibits.info, notParked: this.#notParked ?? null };
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
    this.#inhibits.lock(by, reason);
    this.#heedLockout();
    this.state.save(true);
    this.#onSafety(this.safety);
  }

  /** Moves nothing. @throws Refusal `condition` unless `by` has set it, or forces it */
  clearLockout(by: string, force: string | undefined): void {
    if (!this.#inhibits.unlock(by, force)) return;
    this.state.save(true);
    this.#onSafety(this.safety);
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
    if (this.exchange?.underWay)
      throw new Refusal(
        'file.taking-effect',
        'the prop takes over its changed file; try again in a moment',
        { condition: this.#condition },
      );
    this.#readGuards();
    this.#inhibits.mustBeFree();
    const unknown = this.#unknownServos();
    if (unknown.length > 0 && !confirmed)
      throw new Refusal(
        'wake.unknown-servos',
        `nobody knows where these servos stand: ${unknown.join(', ')}; they move one at a time, at their own speed, to their park position. Keep hands clear, then wake with confirm: "unknown"`,
        { condition: this.#condition, servos: unknown },
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
    this.#stopLatch.endHold();
    // Before the first pulse: if the power fails from here on, nobody knows where things stand.
    this.state.unsettled = true;
    this.state.save(true);
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
    if (this.exchange?.underWay) return;
    if (this.#inhibits.locked && event === 'park away') throw this.#inhibits.lockoutRefusal();
    // Asked for while a lost link is being held for, it parks now.
    if (this.#parker.active) this.#parker.endHold(this.#nowS);
    if (after === before) return;
    this.#waker.cancel();
    this.#stopLatch.endHold();
    this.#enter(after, who);
    this.state.unsettled = true;
    this.#fromRest = before === 'parked';
    if (this.#fromRest) this.state.save(true);
    this.#parker.begin(this.#nowS, 0, before === 'parked');
  }

  readonly #kept: Kept = {
    body: () => this.body,
    condition: () => this.#condition,
    stoppedBy: () => this.#stoppers.names,
    lockouts: () => this.#inhibits.kept,
    endsWell: () => this.#ending && this.#attended,
  };

  readonly #cueEvents = {
    park: (why: string): void => {
      this.journal.add('prop', 'park', `the cue parks the prop: ${why}`);
      this.park('prop');
    },
  };

  /** Whether parking, or the end of a stop, is under way: it will be at rest in a moment. */
  get comingToRest(): boolean {
    return (
      this.#parker.active ||
      this.#stopLatch.dropsWhenStill ||
      this.body.servos.some((servo) => servo.moving)
    );
  }

  /** Accepted in every condition; it latches. `by` is left out where the prop stops by itself. */
  stop(category: StopCategory, who: string, why = 'asked for', by?: Stopper): void {
    this.#latchings++;
    if (by) this.#stoppers.add(by, this.#clock.nowMs());
    this.journal.add(who, 'stop', `stop category ${category}: ${why}`, { category });
    this.#enter(next(this.#condition, 'stop'), who);
    this.#stopLatch.latch(category);
    this.#waker.cancel();
    this.#parker.cancel();
    this.gate.cancel();
    for (const relay of this.body.relays) relay.makeSafe();
    for (const servo of this.body.servos) servo.halt();
    // What cannot be reached is tried again now.
    for (const { dead, driver } of this.body.boards) if (dead) driver.retrySafe?.();
    // At once when nothing moves: after a reset and a wake it would drop what has just woken.
    const { servos } = this.body;
    const still = !servos.some((servo) => servo.moving);
    const holding = servos.some((servo) => servo.pulsing);
    if (this.#stopLatch.begin(still, holding, this.#nowS, this.prop.stop)) this.#dropPower();
    this.state.save(true);
  }

  /**
   * Lets go of a stop or a fault; moves nothing.
   * @param session who asks
   * @param confirm the name of the session that stopped, where that was another one
   * @throws Refusal `condition`
   */
  async reset(who: string, session?: string, confirm?: string): Promise<void> {
    if (next(this.#condition, 'reset') === this.#condition) return;
    if (this.#resetting)
      this.#refuseReset('reset.under-way', 'a reset is under way already; wait for its answer');
    if (this.#parker.active || this.body.servos.some((servo) => servo.moving))
      this.#refuseReset('reset.still-moving', 'something still moves; wait until it stands still');
    if (this.#stopPressed() && !this.body.stopInput!.board.dead)
      this.#refuseReset('reset.stop-pressed', 'the stop button is pressed; release it, then reset');
    this.#stoppers.mayReset(session, confirm, this.#clock.nowMs(), this.#condition);
    const latchings = this.#latchings;
    this.#resetting = true;
    try {
      for (const board of this.body.boards) if (board.dead) await this.#reopen(board);
    } finally {
      this.#resetting = false;
    }
    // Ticks went on while the boards were opened: what was true before may not be now.
    if (this.#stopPressed())
      this.#refuseReset('reset.stop-pressed', 'the stop button is pressed; release it, then reset');
    if (latchings !== this.#latchings)
      this.#refuseReset(
        'reset.stopped-again',
        'the prop was stopped again meanwhile; see that it is safe, then reset',
      );
    const dead = this.body.boards.find((board) => board.dead);
    if (dead)
      this.#refuseReset(
        'reset.board-fails',
        `board ${dead.name} has failed again; mend it, then reset`,
      );
    this.#enter(next(this.#condition, 'reset'), who);
    this.#failure = '';
    this.#stoppers.clear();
    this.#stopLatch.reset();
    // What stands at its park position may stay there; what is held elsewhere is held no longer for that.
    if (atRest(this.body)) this.#stopLatch.endHold();
    this.state.save(true);
  }

  #refuseReset(code: RefusalCode, reason: string): never {
    throw new Refusal(code, reason, { condition: this.#condition });
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
    this.state.noteClosures();
    this.#io.put(this.body, this.#stopLatch.cut);
    this.#io.flush(this.body.boards, this.#nowMs);
    if (this.#telemetry) this.#publish(this.#telemetry);
    this.waits.tick();
    this.state.tick();
    this.#ticking = false;
    this.journal.settle();
    this.exchange?.tick();
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
    const mayWake = this.#condition === 'waking' && free && this.#mayStartPulses();
    if (mayWake && this.#waker.tick(nowS)) {
      this.#enter('live', 'prop');
      this.state.save(true);
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
      this.state.moved = true;
      servo.advance();
    }
    for (let i = 0; i < lights.length; i++) lights[i]!.advance();
    if (this.#senses) this.#io.measure(servos, this.#nowMs);
    this.gate.enforce();
    this.light.tick();
    this.gate.measureRails();
    if (this.#stopLatch.dropsWhenStill) this.#dropInTime();
    if (nowS >= this.#stopLatch.holdUntilS) this.#endHold();
  }

  #dropInTime(): void {
    const moving = this.body.servos.filter((servo) => servo.moving);
    if (moving.length > 0) {
      if (this.#nowS < this.#stopLatch.dropByS) return;
      const names = moving.map(({ name }) => name).join(', ');
      const { deadlineS } = this.prop.stop;
      this.stop(0, 'prop', `not at rest within ${deadlineS} s of a stop of category 1: ${names}`);
      return;
    }
    this.#dropPower();
    this.state.save(true);
  }

  /** Held for long enough: servos that nobody relieves grow hot, and somebody may be caught. */
  #endHold(): void {
    this.#stopLatch.endHold();
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
  #mayStartPulses(): boolean {
    const { noted } = this.state;
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

  /** As `#mayStartPulses`, for a park that starts limp servos. */
  #mayPark(): boolean {
    if (!this.#fromRest) return true;
    const { noted } = this.state;
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
    this.state.unsettled = false;
    this.state.save(true);
  }

  /** Pressed while a stop or a fault is latched, it still stops what moves, and drops the power. */
  #heedStopButton(): void {
    const pressed = this.#stopPressed();
    // One that cannot be read was pressed by nobody.
    const by = pressed && !this.body.stopInput!.board.dead ? STOP_BUTTON : undefined;
    const latched = this.#condition === 'stopped' || this.#condition === 'faulted';
    if (pressed && !(latched && this.#stopHeld))
      this.stop(this.prop.stopInput!.category, 'prop', 'stop button', by);
    else if (by) this.#stoppers.add(by, this.#clock.nowMs());
    this.#stopHeld = pressed;
  }

  /** What moves, or is about to. */
  get #acting(): boolean {
    const now = this.#condition;
    return now === 'live' || now === 'waking' || now === 'parking' || this.#parker.active;
  }

  #heedLockout(): void {
    if (this.#inhibits.locked && this.#acting) this.stop(1, 'prop', 'hands in the prop');
  }

  /** Once a tick: the key switch and the guards. */
  #heedGuards(): void {
    this.#readGuards();
    this.#heedLockout();
    const { stopCategory: category, broken } = this.#inhibits;
    if (category !== undefined && this.#acting)
      this.stop(category, 'prop', `guard broken: ${broken}`);
    if (!this.#inhibits.active) {
      this.gate.blocked = undefined;
      return;
    }
    const isNew = this.gate.blocked === undefined;
    this.gate.blocked = this.#inhibits.refusal;
    if (this.#condition !== 'live' || this.#parker.active) return;
    // What would go on by itself is ended, and nothing that it began is finished.
    if (isNew || this.cues.anyRunning || this.idle.running !== null)
      this.#beStill(`guard broken: ${broken}`);
  }

  readonly #levelOfContact = ({ board, input }: SafetyInput): 0 | 1 | undefined =>
    this.levelOf(board, input);

  #readGuards(): void {
    this.#inhibits.read(this.body, this.#levelOfContact);
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
    return this.#io.level(board, input);
  }

  /** In the first tick and in every fourth after it. */
  get #senses(): boolean {
    return this.#tick % SENSE_EVERY_TICKS === 1;
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
    this.#stopLatch.dropped();
    for (const servo of this.body.servos) servo.release(this.#nowS);
    for (const relay of this.body.relays) relay.makeSafe();
    for (const light of this.body.lights) light.cut(this.#nowS);
    // Nothing is sent to any servo: what is known of them now holds until the next wake.
    this.state.unsettled = false;
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
    this.#stopLatch.cut = true;
    // A cause that lasts comes back with every tick: told and saved once.
    if (error.message === this.#failure) return;
    this.#failure = error.message;
    this.journal.add('prop', 'fault', `the core failed: ${error.message}`, { stack: error.stack });
    this.state.save(true);
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
    this.state.save(true);
  }

  async #reopen(board: Board): Promise<void> {
    try {
      await board.open(this.#clock);
    } catch (error) {
      throw new Refusal(
        'reset.board-fails',
        `board ${board.name} still fails: ${(error as Error).message}; mend it, then reset`,
        { condition: this.#condition, board: board.name },
      );
    }
  }

  // --- another version of the prop file -------------------------------------------------------------

  readonly #exchangeHost: ExchangeHost = {
    assembly: () => this.#assembly,
    isParked: () => this.#condition === 'parked',
    mayExchange: () => this.#condition === 'parked' && !this.#resetting,
    adopt: (assembly) => this.#adopt(assembly),
    followTriggers: () => this.triggers.follow(),
    openBoards: (boards) => this.#io.open(boards),
    boardFailed: (board, error) => this.#boardFailed(board, error),
    published: () => this.#telemetry!.buffers,
    saved: () => this.state.save(true),
    cueEvents: this.#cueEvents,
  };

  #adopt(assembly: Assembly): void {
    const { body } = assembly;
    this.#assembly = assembly;
    this.lease.timeoutMs = body.prop.link.timeoutMs;
    this.triggers.follow();
    this.triggers.readInputs();
    this.#telemetry?.useBody(Telemetry.body(body.channels.length, body.rails.length));
    this.state.follow();
    // What was listed, and who waits, look at the new one.
    if (this.#telemetry) this.#publish(this.#telemetry);
  }

  // --- outwards -----------------------------------------------------------------------------------

  #publish(telemetry: Telemetry): void {
    telemetry.begin(this.body, this.#tick, CONDITIONS.indexOf(this.#condition));
    publish(telemetry, this.body, this.#senses);
    telemetry.commit();
  }

  // --- what outlives the daemon -------------------------------------------------------------------

  #restore(): void {
    const restored = this.state.restore();
    this.#attended = restored === 'none' || (restored !== 'damaged' && restored.clean === true);
    if (restored === 'none') return;
    if (restored === 'damaged') {
      this.#inhibits.suspect();
      this.journal.add(
        'prop',
        'state',
        'the saved state is damaged: positions are not known, and a lockout or a stop may be lost with it; the prop is locked until "sinew unlock --force REASON"',
      );
      return;
    }
    this.#inhibits.restore(restored.lockout ?? []);
    const { latched } = restored;
    if (!latched) return;
    this.#condition = latched.condition;
    for (const who of latched.stoppedBy)
      this.#stoppers.add({ session: '', who }, this.#clock.nowMs());
    const by = latched.stoppedBy.at(-1);
    const text = `still ${latched.condition} since before the daemon started`;
    this.journal.add('prop', 'condition', by === undefined ? text : `${text}: by ${by}`, {
      condition: latched.condition,
    });
  }
}
