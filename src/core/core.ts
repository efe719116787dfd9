import type { ConditionResult } from '../api/types.ts';
import type { Driver } from '../boards/board.ts';
import type { Prop } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import { CONDITIONS, type Condition } from '../shared/condition.ts';
import { Telemetry } from '../shared/telemetry.ts';
import type { Actuator } from './actuators.ts';
import type { Assembly } from './assembly.ts';
import { BatteryWatch } from './battery-watch.ts';
import { BoardIo } from './board-io.ts';
import type { Board } from './boards.ts';
import { Body } from './body.ts';
import { next } from './condition.ts';
import { Control } from './control.ts';
import { CoreContext } from './core-context.ts';
import type { CoreProp } from './core-prop.ts';
import type { Cues } from './cues.ts';
import { DeskLevels } from './desk-levels.ts';
import { type Changing, type ExchangeHost, PropExchange } from './exchange.ts';
import type { Gate } from './gate.ts';
import type { Idle } from './idle.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';
import { Measuring } from './measuring.ts';
import { OscPerform } from './osc-perform.ts';
import { Performer } from './performer.ts';
import type { PropLight } from './prop-light.ts';
import { publish } from './publish.ts';
import { Recorder } from './recorder.ts';
import type { SafetyInfo } from './requests.ts';
import { SafetyWatch } from './safety-watch.ts';
import { SenseWatch } from './sense-watch.ts';
import { Show } from './show.ts';
import type { StateKeeper } from './state-keeper.ts';
import type { StopCategory } from './stop-latch.ts';
import type { Stopper } from './stoppers.ts';
import { Stops } from './stops.ts';
import type { Store } from './store.ts';
import { Teacher } from './teacher.ts';
import { Triggers } from './triggers.ts';
import { Waits } from './waits.ts';
import { WakePark } from './wake-park.ts';
import { WarmUp } from './warm-up.ts';
import { countWear } from './wear.ts';

/** After a stall, motion is advanced by this many ticks at most: it resumes, it does not jump. */
const MAX_CATCH_UP_TICKS = 4;
/** A prop at rest is looked at every so many ticks: a board may fail, or come back. */
const REST_LOOK_TICKS = 40;
/** The drivers are asked what they measure every so many ticks: servos get a pulse 50 times a second. */
const SENSE_EVERY_TICKS = 4;

interface CoreOptions {
  prop: Prop & Partial<Pick<CoreProp, 'cueDurationsS' | 'cueTakes' | 'dropWays'>>;
  /** The version of the prop file that it is. */
  version?: string;
  drivers: ReadonlyMap<string, Driver>;
  clock: Clock;
  /** Where others read the state of every tick; nobody does in a rehearsal. */
  telemetry: Telemetry | undefined;
  store: Store;
  journal: Journal;
  tickMs?: number;
  /** Called when a session's link counts as lost, so that it can be dropped. */
  onLost?: (session: string) => void;
  onHolder?: (holder: string | null) => void;
  /** Called when what keeps the prop from waking and moving is other than before. */
  onSafety?: (safety: SafetyInfo) => void;
  /** Moves are computed without output in the first ticks, so that the first one is not slow to plan. */
  warmUp?: boolean;
  /** How other versions of the prop file come in; without it the prop stays as it is. */
  changing?: Changing;
}

/**
 * The parts of the core put together, and the tick in which everything happens.
 * Commands (commands.ts) act through `gate` between ticks; outputs change in `tick` alone.
 */
export class Core {
  readonly triggers: Triggers;
  /** Servos that a hand leads. */
  readonly performer: Performer;
  /** Servos measured by themselves, while a person holds. */
  readonly measuring: Measuring;
  /** OSC messages that lead servos. */
  readonly osc: OscPerform;
  /** What the show of many props may do here. */
  readonly show: Show;
  /** Levels of a lighting desk. */
  readonly desk: DeskLevels;
  /** Records what servos are commanded to do. */
  readonly recorder: Recorder;
  readonly lease: Lease;
  readonly waits = new Waits();
  readonly journal: Journal;
  readonly tickMs: number;
  /** Takes other versions of the prop file over. */
  readonly exchange: PropExchange | undefined;
  /** What is kept across restarts. */
  readonly state: StateKeeper;
  /** The version of the prop file at the start. */
  readonly #version: string;
  readonly #telemetry: Telemetry | undefined;
  readonly #context: CoreContext;
  readonly #io: BoardIo;
  readonly #stops: Stops;
  readonly #safetyWatch: SafetyWatch;
  readonly #senseWatch: SenseWatch;
  readonly #batteryWatch = new BatteryWatch();
  readonly #wakePark: WakePark;
  /** Servos that a hand turns while they are limp. */
  readonly teacher: Teacher;
  readonly #control: Control;
  readonly #startMs: number;
  #tick = 0;
  #ticking = false;
  #warmUp: WarmUp | undefined;

  constructor(options: CoreOptions) {
    const { clock, journal, store, telemetry, drivers, changing } = options;
    const { onLost = () => {}, onHolder = () => {}, onSafety = () => {} } = options;
    this.#telemetry = telemetry;
    this.journal = journal;
    this.tickMs = options.tickMs ?? 5;
    this.#version = options.version ?? '';
    if (options.warmUp) this.#warmUp = new WarmUp();
    journal.tick = () => this.actingTick;
    const body = Body.of({ cueDurationsS: {}, ...options.prop }, drivers);
    this.#context = new CoreContext({
      body,
      cueEvents: this.#cueEvents,
      clock,
      journal,
      store,
      telemetry,
      onSafety,
    });
    this.#startMs = this.#context.nowMs;
    this.lease = this.#context.lease;
    this.state = this.#context.state;
    this.#io = new BoardIo(clock, (board, error) => this.#stops.boardFailed(board, error));
    this.#stops = new Stops(this.#context, this.#io);
    this.#safetyWatch = new SafetyWatch(this.#context, this.#io, this.#stops);
    this.#senseWatch = new SenseWatch(this.#context, this.#io);
    this.#wakePark = new WakePark(
      this.#context,
      this.#stops,
      this.#safetyWatch,
      this.#senseWatch,
      () => this.exchange?.underWay === true,
    );
    this.teacher = new Teacher(this.#context);
    this.#control = new Control(this.#context, this.tickMs, {
      onLost,
      onHolder: (holder, lost) => {
        // Triggers that one holder has armed are not armed for the next.
        this.triggers.armed = false;
        if (lost) this.show.disarm('the link of whoever had control was lost');
        onHolder(holder);
      },
    });
    this.exchange =
      changing && new PropExchange(this.#version, changing, this.#exchangeHost, journal, clock);
    this.triggers = new Triggers(this, clock);
    this.performer = new Performer(this);
    this.measuring = new Measuring(this);
    this.osc = new OscPerform(this);
    this.show = new Show(this);
    this.desk = new DeskLevels(this);
    this.recorder = new Recorder(journal, this.tickMs, () => this.cues.leaveTo('', []));
    this.#context.restore();
    this.#context.lookWhetherParked();
  }

  /** The prop in use; another one after a change of its file. */
  get prop(): CoreProp {
    return this.#context.prop;
  }

  get body(): Body {
    return this.#context.assembly.body;
  }

  get gate(): Gate {
    return this.#context.assembly.gate;
  }

  get cues(): Cues {
    return this.#context.assembly.cues;
  }

  get idle(): Idle {
    return this.#context.assembly.idle;
  }

  /** All light of the prop together. */
  get light(): PropLight {
    return this.#context.assembly.light;
  }

  get condition(): Condition {
    return this.#context.condition;
  }

  /**
   * Whether somebody may be relied on to have looked at the prop, since the daemon started or a low voltage
   * has made the prop park.
   */
  get attended(): boolean {
    return this.#context.attended;
  }

  /** Why nobody may be relied on for that. */
  get unattendedWhy(): string {
    return this.#context.unattendedWhy;
  }

  /** The version of the prop file that is in use. */
  get version(): string {
    return this.exchange?.version ?? this.#version;
  }

  /** The tick that carries out what is asked for or happens now. */
  get actingTick(): number {
    return this.#ticking ? this.#tick : this.#tick + 1;
  }

  /** Time of the last tick (s since the core was made). */
  get nowS(): number {
    return this.#context.nowS;
  }

  get nowMs(): number {
    return this.#context.nowMs;
  }

  /** Claims the pins of every board. @throws what a driver throws; nothing moves then */
  async open(): Promise<void> {
    await this.#io.open(this.body.boards);
  }

  /** Drops all power and frees the pins. */
  async close(): Promise<void> {
    this.#context.ending = true;
    this.#stops.dropPower();
    this.#context.stopLatch.cut = true;
    this.#io.put(this.body, true);
    await this.#io.close(this.body.boards);
    this.state.save(true);
  }

  // --- what may be asked --------------------------------------------------------------------------

  /**
   * @param teaching what is asked for moves nothing, and may be done while servos are turned by hand
   * @throws Refusal `condition` unless commands are taken now
   */
  mustBeLive(teaching = false): void {
    next(this.#context.condition, 'command');
    this.mustBeFree();
    if (!teaching) this.teacher.mustBeDone();
  }

  /** @throws Refusal `condition` while a lockout or a broken guard keeps the prop from moving */
  mustBeFree(): void {
    this.#context.inhibits.mustBeFree();
  }

  /** Hands are in the prop. */
  get locked(): boolean {
    return this.#context.inhibits.locked;
  }

  /** What keeps the prop from waking and moving. */
  get safety(): SafetyInfo {
    return this.#context.safety;
  }

  /** The condition as clients see it: `parked` only where the prop is parked. */
  get shown(): ConditionResult {
    return this.#context.shown;
  }

  /** Whether parking, or the end of a stop, is under way: it will be at rest in a moment. */
  get comingToRest(): boolean {
    return this.#wakePark.comingToRest;
  }

  /** As `SafetyWatch.setLockout`. */
  setLockout(by: string, reason: string): void {
    this.#safetyWatch.setLockout(by, reason);
  }

  /** As `SafetyWatch.clearLockout`. @throws Refusal `condition` unless `by` has set it, or forces it */
  clearLockout(by: string, force: string | undefined): void {
    this.#safetyWatch.clearLockout(by, force);
  }

  /** As `Control.take`. */
  take(session: Session): void {
    const isOther = this.lease.holder?.id !== session.id;
    if (isOther) this.performer.forget();
    this.#control.take(session);
    if (isOther && !session.unattended) this.show.personTook(session.client);
  }

  /** As `Control.release`. */
  release(session: Session, graceS: number): void {
    this.#control.release(session, graceS);
    this.performer.forget();
    this.recorder.end(`${session.client} released the lease`);
  }

  /** As `Control.drop`. */
  drop(sessionId: string): void {
    this.#control.drop(sessionId);
  }

  /** As `Control.catchUp`. */
  catchUp(): void {
    this.#control.catchUp();
  }

  /** As `WakePark.wake`. @throws Refusal `condition`, `railLimit` */
  wake(who: string, confirmed = false, attended = false): void {
    this.#wakePark.wake(who, confirmed, attended);
  }

  /** As `WakePark.park`. @throws Refusal `condition` */
  park(who: string): void {
    this.#wakePark.park(who);
    this.show.parkAsked();
  }

  /** As `Stops.stop`. */
  stop(category: StopCategory, who: string, why?: string, by?: Stopper): void {
    this.#stops.stop(category, who, why, by);
  }

  /** As `Stops.reset`. @throws Refusal `condition` */
  reset(who: string, session?: string, confirm?: string): Promise<void> {
    return this.#stops.reset(who, session, confirm);
  }

  /** As `Stops.fail`. */
  fail(error: Error): void {
    this.#stops.fail(error);
  }

  /** Channels have been commanded by hand: whoever leads them no longer does, and cues end as with `performs`. */
  byHand(channels: ReadonlySet<Actuator>, who: string): void {
    this.performer.yieldTo(channels, true);
    this.performs(channels, who);
  }

  /** Servos are led by hand: the cues that use them end, and nothing stirs for a while. */
  performs(channels: ReadonlySet<Actuator>, who: string): void {
    this.cues.yieldTo(channels, who);
    this.idle.disturb(this.#context.nowS);
  }

  readonly #cueEvents = {
    begins: (channels: readonly Actuator[]): void => this.performer.yieldTo(channels, false),
    park: (why: string): void => {
      this.journal.add('prop', 'park', `the cue parks the prop: ${why}`);
      this.park('prop');
    },
  };

  // --- the tick -----------------------------------------------------------------------------------

  /** One tick at `nowMs`, `elapsed` periods after the one before. */
  readonly tick = (nowMs: number, elapsed: number): void => {
    this.#context.nowMs = nowMs;
    this.#context.nowS = (nowMs - this.#startMs) / 1000;
    this.body.nowS = this.#context.nowS;
    this.#tick++;
    this.#ticking = true;
    try {
      this.#run(elapsed);
    } catch (error) {
      this.fail(error as Error);
    }
    this.state.noteClosures();
    this.#io.put(this.body, this.#context.stopLatch.cut);
    this.gate.measureRails();
    this.#io.flush(this.body.boards, this.#context.nowMs);
    if (this.#telemetry) this.#publish(this.#telemetry);
    this.waits.tick();
    this.state.tick();
    this.#ticking = false;
    this.journal.settle();
    this.exchange?.tick();
    if (this.#context.condition === 'parked' && this.#tick % REST_LOOK_TICKS === 0)
      this.#context.lookWhetherParked();
    if (this.#warmUp) this.#warmUpOn(this.#warmUp);
  };

  #warmUpOn(warmUp: WarmUp): void {
    const busy = this.body.servos.some(({ moving, delayed }) => moving || delayed);
    if (!busy && !this.cues.anyRunning) warmUp.tick(this.body, this.gate);
    if (warmUp.over) this.#warmUp = undefined;
  }

  #run(elapsed: number): void {
    this.#control.supervise(elapsed);
    this.#stops.heedStopButton();
    this.#safetyWatch.heedGuards();
    const free = this.gate.blocked === undefined;
    this.#wakePark.tick(free);
    this.teacher.tick();
    this.triggers.tick(this.#context.nowMs);
    this.show.tick();
    this.cues.ready();
    if (this.#context.condition === 'live' && free) {
      this.idle.tick();
      this.cues.tick();
    }
    this.desk.tick();
    this.performer.tick(this.#context.condition === 'live' && free);
    if (free || this.#context.parker.active || this.teacher.active) this.gate.retry();
    const { body } = this;
    body.dtS = (Math.min(elapsed, MAX_CATCH_UP_TICKS) * this.tickMs) / 1000;
    const { servos, lights, sounds } = body;
    for (let i = 0; i < servos.length; i++) {
      const servo = servos[i]!;
      if (!servo.moving) continue;
      this.state.moved = true;
      servo.advance();
    }
    for (let i = 0; i < lights.length; i++) lights[i]!.advance();
    for (let i = 0; i < sounds.length; i++) sounds[i]!.advance();
    this.#hearBoards();
    if (this.#senses) {
      this.#io.measure(servos, this.#context.nowMs);
      this.#senseWatch.tick();
      this.#batteryWatch.tick(this.body, this.#context.nowMs);
    }
    this.measuring.tick(this.#context.condition === 'live' && this.gate.blocked === undefined);
    this.gate.enforce();
    this.light.tick();
    this.#stops.tick();
    this.#record(elapsed);
  }

  /** Records this tick, or ends the recording when nobody performs any more. */
  #record(elapsed: number): void {
    const { recorder } = this;
    if (!recorder.active) return;
    const { condition } = this.#context;
    const { holder } = this.lease;
    const lost = holder?.id !== recorder.session;
    if (lost && condition !== 'stopped' && condition !== 'faulted')
      recorder.end('control was lost', 'prop');
    else if (condition !== 'live') recorder.end(`the prop is ${condition}`, 'prop');
    else recorder.tick(elapsed, this.body.dtS);
  }

  /** What boards report that is no failure. */
  #hearBoards(): void {
    const { boards } = this.body;
    for (let i = 0; i < boards.length; i++) {
      const text = boards[i]!.driver.news?.();
      if (text === undefined) continue;
      const { name, measures } = boards[i]!;
      this.journal.add('prop', measures ? 'sense' : 'sound', text, { board: name });
    }
  }

  /** The level of an input; undefined when its board has failed, or fails now. */
  levelOf(board: Board, input: number): 0 | 1 | undefined {
    return this.#io.level(board, input);
  }

  /** In the first tick and in every fourth after it. */
  get #senses(): boolean {
    return this.#tick % SENSE_EVERY_TICKS === 1;
  }

  // --- another version of the prop file -------------------------------------------------------------

  readonly #exchangeHost: ExchangeHost = {
    assembly: () => this.#context.assembly,
    isParked: () => this.#context.condition === 'parked',
    mayExchange: () => this.#context.condition === 'parked' && !this.#stops.resetting,
    adopt: (assembly) => this.#adopt(assembly),
    followTriggers: () => this.triggers.follow(),
    openBoards: (boards) => this.#io.open(boards),
    boardFailed: (board, error) => this.#stops.boardFailed(board, error),
    published: () => this.#telemetry!.buffers,
    saved: () => this.state.save(true),
    cueEvents: this.#cueEvents,
  };

  /**
   * From now on simulated batteries have so much left (0 to 1), by rail, and wires a bad crimp (ohm).
   * @throws Refusal `sim.no-battery`, `sim.no-wire`
   */
  simulateSupplies(
    batteries: Readonly<Record<string, number>>,
    crimps: Readonly<Record<string, number>> = {},
  ): void {
    const { supplies } = this.#senseWatch;
    supplies.crimp(this.body, crimps);
    supplies.batteries.set(this.body, batteries);
  }

  #adopt(assembly: Assembly): void {
    const { body } = assembly;
    const before = this.prop;
    this.#context.assembly = assembly;
    this.lease.timeoutMs = body.prop.link.timeoutMs;
    this.triggers.follow();
    this.triggers.readInputs();
    this.show.follow(before);
    const { channels, rails, senses } = body;
    this.#telemetry?.useBody(Telemetry.body(channels.length, rails.length, senses.list.length));
    if (this.#context.senseNotes.length + senses.list.length > 0) this.#senseWatch.publish();
    this.state.follow();
    // What was listed, and who waits, look at the new one.
    if (this.#telemetry) this.#publish(this.#telemetry);
  }

  // --- outwards -----------------------------------------------------------------------------------

  #publish(telemetry: Telemetry): void {
    telemetry.begin(this.body, this.#tick, CONDITIONS.indexOf(this.#context.condition));
    publish(telemetry, this.body, this.#senses);
    countWear(telemetry, this.body);
    telemetry.setHolder(this.lease.holder?.slot ?? -1);
    telemetry.commit();
  }
}
