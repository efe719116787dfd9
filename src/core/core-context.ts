import type { ConditionResult } from '../api/types.ts';
import type { Clock } from '../shared/clock.ts';
import { CONDITIONS, type Condition } from '../shared/condition.ts';
import { conditionText } from '../shared/condition-text.ts';
import type { Refusal } from '../shared/errors.ts';
import type { Telemetry } from '../shared/telemetry.ts';
import { Assembly, cuesOf } from './assembly.ts';
import type { Body } from './body.ts';
import { next } from './condition.ts';
import type { CoreProp } from './core-prop.ts';
import type { CueEvents, Cues } from './cues.ts';
import type { Gate } from './gate.ts';
import type { Idle } from './idle.ts';
import { Inhibits } from './inhibits.ts';
import type { Journal } from './journal.ts';
import { Lease } from './lease.ts';
import type { Parker } from './park.ts';
import type { SafetyInfo } from './requests.ts';
import { notParkedText } from './rest-text.ts';
import type { SenseNote } from './senses.ts';
import { type Kept, StateKeeper } from './state-keeper.ts';
import { StopLatch } from './stop-latch.ts';
import { Stoppers } from './stoppers.ts';
import type { KeptDrop, Nothing, Store } from './store.ts';
import type { Waker } from './waker.ts';

interface ContextOptions {
  body: Body;
  cueEvents: CueEvents;
  clock: Clock;
  journal: Journal;
  store: Store;
  telemetry: Telemetry | undefined;
  /** Called when what keeps the prop from waking and moving is other than before. */
  onSafety: (safety: SafetyInfo) => void;
}

/** Why a saved state says nothing. */
const UNREADABLE: Readonly<Record<Exclude<Nothing, 'none'>, string>> = {
  damaged: 'the saved state is damaged',
  newer: 'the saved state was written by a newer Sinew, which this one cannot read',
};

/** What the parts of the core share: the version in use, the condition, the time, the lease. */
export class CoreContext {
  readonly clock: Clock;
  readonly journal: Journal;
  readonly lease: Lease;
  /** What is kept across restarts. */
  readonly state: StateKeeper;
  readonly inhibits: Inhibits;
  readonly stopLatch = new StopLatch();
  readonly stoppers = new Stoppers();
  assembly: Assembly;
  condition: Condition = 'parked';
  /** Time of the last tick: on the clock (ms), and since the core was made (s). */
  nowMs: number;
  nowS = 0;
  /** The daemon ends as it should. */
  ending = false;
  /**
   * Whether somebody may be relied on to have looked at the prop: the daemon before this one ended as it
   * should and no low voltage has made the prop park, or a session has taken the lease since.
   */
  attended = false;
  /** Why nobody may be relied on for that. */
  unattendedWhy = 'the daemon ended in a crash, in a power cut or with a low voltage';
  /** Why a prop at rest is not parked. */
  #notParked: string | undefined;
  /** Why nothing but a stop or a park moves anything, while nothing inhibits it. */
  blockedBy: (() => Refusal) | undefined;
  /** What is measured and not as it should be. */
  senseNotes: readonly SenseNote[] = [];
  /** Wires that are found to be weak: until the first look, those of the run before. */
  keptDrops: readonly KeptDrop[] = [];
  readonly #telemetry: Telemetry | undefined;
  readonly #onSafety: (safety: SafetyInfo) => void;

  constructor({ body, cueEvents, clock, journal, store, telemetry, onSafety }: ContextOptions) {
    this.clock = clock;
    this.journal = journal;
    this.#telemetry = telemetry;
    this.#onSafety = onSafety;
    this.nowMs = clock.nowMs();
    this.inhibits = new Inhibits(journal, clock, () => this.publishSafety());
    this.assembly = new Assembly(body, cuesOf(body.prop), journal, cueEvents, clock);
    this.lease = new Lease(
      body.prop.link.timeoutMs,
      (slot) => telemetry?.life(slot) ?? 0,
      (slot) => telemetry?.received(slot) ?? 0,
    );
    this.state = new StateKeeper(store, journal, this.#kept);
  }

  get prop(): CoreProp {
    return this.assembly.body.prop;
  }

  get body(): Body {
    return this.assembly.body;
  }

  get gate(): Gate {
    return this.assembly.gate;
  }

  get cues(): Cues {
    return this.assembly.cues;
  }

  get idle(): Idle {
    return this.assembly.idle;
  }

  get parker(): Parker {
    return this.assembly.parker;
  }

  get waker(): Waker {
    return this.assembly.waker;
  }

  /** What keeps the prop from waking and moving. */
  get safety(): SafetyInfo {
    const notes = this.senseNotes;
    return {
      ...this.inhibits.info,
      notParked: this.#notParked ?? null,
      ...(notes.length > 0 && { senses: notes }),
    };
  }

  publishSafety(): void {
    this.#onSafety(this.safety);
  }

  /** The condition as clients see it: `parked` only where the prop is parked. */
  get shown(): ConditionResult {
    const condition = this.condition;
    return this.#notParked === undefined
      ? { condition }
      : { condition, notParked: this.#notParked };
  }

  /** What moves, or is about to. */
  get acting(): boolean {
    const now = this.condition;
    return now === 'live' || now === 'waking' || now === 'parking' || this.parker.active;
  }

  /** Comes into a condition that `next` has named; nothing happens if it is the same. */
  enter(condition: Condition, who: string, why?: string): void {
    if (condition === this.condition) return;
    this.condition = condition;
    this.#telemetry?.setCondition(CONDITIONS.indexOf(condition));
    if (condition !== 'live') {
      this.idle.forget();
      this.cues.clear();
    }
    if (condition === 'parked') this.lease.endGrace();
    this.lookWhetherParked();
    const text = conditionText(this.shown);
    this.journal.add(who, 'condition', `${text}${why ? `: ${why}` : ''}`, { condition });
  }

  /**
   * The prop looks after itself: what runs ends, and it parks.
   * @param holdS how long it holds first (s)
   */
  parkAway(why: string, holdS: number): void {
    const { condition, parker } = this;
    if (condition !== 'live' && condition !== 'waking') return;
    this.waker.cancel();
    this.enter(next(condition, 'park away'), 'prop', why);
    parker.begin(this.nowS, holdS, false);
  }

  lookWhetherParked(): void {
    const before = this.#notParked;
    this.#notParked = this.condition === 'parked' ? notParkedText(this.body) : undefined;
    if (this.#notParked !== before) this.publishSafety();
  }

  /** Everything that moves by itself ends, decelerates and holds. */
  beStill(why: string): void {
    this.idle.forget();
    this.cues.stopAll(why);
    for (const servo of this.body.servos) servo.halt();
    this.gate.cancel();
  }

  // --- what is kept across restarts

  readonly #kept: Kept = {
    body: () => this.body,
    condition: () => this.condition,
    stoppedBy: () => this.stoppers.names,
    lockouts: () => this.inhibits.kept,
    endsWell: () => this.ending && this.attended,
    drops: () => this.keptDrops,
  };

  /** Takes up what the daemon before this one has saved. */
  restore(): void {
    const restored = this.state.restore();
    const isRead = typeof restored !== 'string';
    this.attended = restored === 'none' || (isRead && restored.clean === true);
    if (restored === 'none') return;
    if (!isRead) {
      const why = UNREADABLE[restored];
      this.inhibits.suspect(why);
      this.journal.add(
        'prop',
        'state',
        `${why}: positions are not known, and a lockout or a stop may be lost with it; the prop is locked until "sinew unlock --force REASON"`,
      );
      return;
    }
    if (restored.lacks && restored.lacks.length > 0)
      this.journal.add(
        'prop',
        'state',
        `the saved state is from an earlier release and was taken over: ${restored.lacks.join('; ')}`,
      );
    this.inhibits.restore(restored.lockout ?? []);
    this.keptDrops = restored.drops ?? [];
    const { latched } = restored;
    if (!latched) return;
    this.condition = latched.condition;
    for (const who of latched.stoppedBy)
      this.stoppers.add({ session: '', who }, this.clock.nowMs());
    const by = latched.stoppedBy.at(-1);
    const text = `still ${latched.condition} since before the daemon started`;
    this.journal.add('prop', 'condition', by === undefined ? text : `${text}: by ${by}`, {
      condition: latched.condition,
    });
  }
}
