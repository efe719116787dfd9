import type { Condition } from '../shared/condition.ts';
import { Refusal } from '../shared/errors.ts';
import { plain } from '../shared/plain.ts';
import { tidy } from '../shared/units.ts';
import type { CoreProp } from './core-prop.ts';
import type { Cues } from './cues.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';
import type { StopCategory } from './stop-latch.ts';
import type { Stopper } from './stoppers.ts';

/** A start that comes later than this (ms) is void: the others have started by then. */
export const LATEST_MS = 50;
/** A go is taken so long before its time at most (ms), and so many of them wait. */
const LONGEST_WAIT_MS = 60_000;
const MOST_WAIT = 16;
/** A go that has started is remembered this long (ms). */
const REMEMBERED_MS = LONGEST_WAIT_MS + 1000;
const MOST_REMEMBERED = 256;

/** A cue that the show starts. */
interface ShowGo {
  id: string;
  cue: string;
  /** When it starts, on the core's clock (ms). */
  startMs: number;
}

/** What became of a go that waited. */
export type ShowOutcome = { startedMs: number } | { refusal: Refusal };

/** What the show needs from the core. */
interface ShowHost {
  readonly prop: CoreProp;
  readonly journal: Journal;
  readonly lease: Lease;
  readonly cues: Cues;
  readonly condition: Condition;
  readonly attended: boolean;
  /** Hands are in the prop. */
  readonly locked: boolean;
  readonly nowS: number;
  readonly nowMs: number;
  mustBeLive(): void;
  mustBeFree(): void;
  take(session: Session): void;
  release(session: Session, graceS: number): void;
  wake(who: string): void;
  park(who: string): void;
  stop(category: StopCategory, who: string, why: string, by: Stopper): void;
  setLockout(by: string, reason: string): void;
}

interface Waiting extends ShowGo {
  who: string;
}

/**
 * What the show may do with this prop. It takes effect only while somebody who held the lease has armed it; a
 * go then wakes the prop, and runs its cue as any other request does. Stop, park and lockout always take
 * effect. Whatever says that a person is at the prop, or that something is wrong with it, disarms it.
 */
export class Show {
  readonly #core: ShowHost;
  #waiting: Waiting[] = [];
  /** Goes that were taken: when they are forgotten (ms). */
  readonly #taken = new Map<string, number>();
  /** Cues that the show has started: which run of each. */
  readonly #started = new Map<string, number>();
  #armedBy: string | undefined;
  /** The show's own hold of the lease, while nobody is in control. */
  #session: Session | undefined;
  /** The prop is awake for the show, held or in grace. */
  #ours = false;
  #brokerLost = false;
  /** Called with what became of a go. */
  onOutcome: (id: string, outcome: ShowOutcome) => void = () => {};
  /** Counts up with every change that a status shows. */
  revision = 0;

  constructor(core: ShowHost) {
    this.#core = core;
  }

  /** Who armed the prop; undefined while it is not armed. */
  get armedBy(): string | undefined {
    return this.#armedBy;
  }

  /** How many goes wait for their time. */
  get waits(): number {
    return this.#waiting.length;
  }

  // --- arming -------------------------------------------------------------------------------------

  /** @throws Refusal where the file has no show, or hands are in the prop */
  arm(who: string): void {
    if (!this.#core.prop.show)
      throw new Refusal('show.none', 'the prop file has no show; add show: to it first');
    this.#core.mustBeFree();
    if (this.#core.condition === 'stopped' || this.#core.condition === 'faulted')
      throw new Refusal(
        'condition.forbids',
        `the prop is ${this.#core.condition}; reset it, then arm it`,
        { condition: this.#core.condition },
      );
    this.#armedBy = who;
    this.revision++;
  }

  /** Nothing of the show starts any more, what waits is void, and a prop that is awake for it parks. */
  disarm(why: string): void {
    if (this.#armedBy === undefined) return;
    this.#armedBy = undefined;
    this.revision++;
    this.#core.journal.add('prop', 'show', `disarmed for the show: ${why}`);
    const refusal = () =>
      new Refusal('show.not-armed', `the prop was disarmed: ${why}; arm it again at the prop`);
    this.#voidAll(refusal);
    this.#goAway();
  }

  /** Another version of the prop file is in use. */
  follow(before: CoreProp): void {
    if (JSON.stringify(before.show) !== JSON.stringify(this.#core.prop.show))
      this.disarm('show: in the prop file has changed');
  }

  /** A session has taken the lease: a person is at the prop. */
  personTook(who: string): void {
    this.#session = undefined;
    this.#ours = false;
    this.disarm(`${who} took control`);
  }

  // --- what the show asks for ---------------------------------------------------------------------

  /**
   * Takes a go, to start its cue in the tick of its time.
   * @returns false for one that was taken before
   * @throws Refusal when it cannot be kept; nothing has moved then
   */
  go(go: ShowGo, from: string): boolean {
    if (this.#taken.has(go.id)) return false;
    const who = this.#who(from);
    try {
      this.#take(go, who);
    } catch (error) {
      this.#tell(who, `cue ${go.cue}`, error);
      throw error;
    }
    return true;
  }

  #take(go: ShowGo, who: string): void {
    const { nowMs, cues, condition, lease } = this.#core;
    this.#mustBeArmed();
    cues.channelsOf(go.cue);
    const leftMs = this.#dueMs(go) - nowMs;
    if (leftMs < 0) throw this.#late(-leftMs);
    if (leftMs > LONGEST_WAIT_MS)
      throw new Refusal(
        'show.too-early',
        `it is ${tidy(leftMs / 1000, 0)} s before its time; send it at most ${LONGEST_WAIT_MS / 1000} s before`,
        { leftMs },
      );
    if (this.#waiting.length >= MOST_WAIT)
      throw new Refusal('show.too-many', `${MOST_WAIT} goes wait already; end them, or wait`, {
        limit: MOST_WAIT,
      });
    if (this.#brokerLost) throw this.#lost();
    this.#core.mustBeFree();
    const { holder } = lease;
    if (holder && holder.id !== this.#session?.id) {
      // Whoever is in control has armed it, and wakes it.
      if (holder.unattended)
        throw new Refusal(
          'show.busy',
          `${holder.client} runs at this moment; wait until it is over`,
        );
      this.#core.mustBeLive();
    } else if (condition !== 'parking') this.#rouse(who);
    this.#waiting.push({ ...go, who });
    this.#remember(go.id);
    this.revision++;
  }

  /** Takes the lease where nobody has it, and wakes the prop. @throws Refusal when it may not wake */
  #rouse(who: string): void {
    const { lease } = this.#core;
    const session = { id: 'show', client: who, slot: -1, unattended: true };
    const mine = this.#session !== undefined && lease.holder?.id === this.#session.id;
    const { condition } = this.#core;
    if (condition === 'stopped' || condition === 'faulted') this.#core.mustBeLive();
    if (!mine) this.#core.take(session);
    this.#session = session;
    try {
      this.#core.wake(who);
      this.#ours = true;
    } catch (error) {
      if (!mine) this.#leave(0);
      throw error;
    }
  }

  /** A go that waits cannot be kept after all: the clocks are not known well enough. */
  void(id: string, reason: string): void {
    const go = this.#waiting.find((one) => one.id === id);
    if (go) this.#refuse(go, new Refusal('show.uncertain', reason));
  }

  /** A go that waits starts at another moment: the clocks are known better. @param startMs on the core's clock */
  retime(id: string, startMs: number): void {
    const go = this.#waiting.find((one) => one.id === id);
    if (go) go.startMs = startMs;
  }

  /** Ends cues that the show has started, and voids what waits. @throws Refusal where there are none */
  end(cue: string | undefined, from: string): void {
    const who = this.#who(from);
    const running = this.#running().filter((name) => cue === undefined || name === cue);
    const voided = this.#waiting.filter((go) => cue === undefined || go.cue === cue);
    if (running.length + voided.length === 0)
      throw new Refusal(
        'show.not-running',
        cue === undefined
          ? 'the show has started no cue that still runs, and none waits'
          : `the show has not started ${cue}, or it is over`,
      );
    for (const name of running) this.#core.cues.stop(name, `${who} ended it`);
    for (const go of voided) this.#refuse(go, this.#ended());
  }

  /** Parks the prop, armed or not. @throws Refusal `condition` */
  park(from: string): void {
    this.#core.park(this.#who(from));
  }

  /** Somebody parks the prop: what waits does not wake it again. */
  parkAsked(): void {
    this.#voidAll(() => new Refusal('show.ended', 'the prop was parked before its time'));
  }

  /** Stops the prop, armed or not; it latches as any stop does. */
  stop(category: StopCategory, from: string): void {
    const who = this.#who(from);
    this.#core.stop(category, who, 'asked for', { session: 'show', who });
    this.disarm(`${who} stopped the prop`);
  }

  /** Hands are in the prop, armed or not: it is cleared at the prop, by force. @throws Refusal `tooMany` */
  lockout(reason: string | undefined, from: string): void {
    const who = this.#who(from);
    this.#core.setLockout(who, plain(reason ?? 'hands in the prop'));
    this.disarm('hands are in the prop');
  }

  /** The broker is lost, or is back. What waits is void: nobody could stop it. */
  brokerLost(lost: boolean): void {
    if (lost === this.#brokerLost) return;
    this.#brokerLost = lost;
    if (!lost) return;
    this.#voidAll(() => this.#lost());
    const { prop } = this.#core;
    const running = this.#running();
    // A cue that goes on until it is stopped would never finish.
    const endless = running.some((name) => (prop.cueDurationsS[name] ?? null) === null);
    const finishes = prop.show?.whenBrokerLost === 'finish' && running.length > 0 && !endless;
    if (!finishes) this.#goAway();
  }

  // --- the tick -----------------------------------------------------------------------------------

  /** Once a tick, before the cues. */
  tick(): void {
    if (this.#armedBy !== undefined) this.#watch();
    if (this.#waiting.length > 0) this.#startThoseDue();
    const { condition, lease } = this.#core;
    if (this.#session) this.#hold();
    else if (
      this.#waiting.length > 0 &&
      !lease.holder &&
      (condition === 'parked' || condition === 'live')
    )
      this.#rouseForWaiting();
    if (this.#ours && condition === 'parked') this.#ours = false;
  }

  #watch(): void {
    const { condition, locked, attended } = this.#core;
    if (condition === 'stopped' || condition === 'faulted')
      this.disarm(`the prop was ${condition}`);
    else if (locked) this.disarm('hands are in the prop');
    // After a crash nobody has armed it: a voltage was too low.
    else if (!attended) this.disarm('a voltage was too low');
  }

  #startThoseDue(): void {
    const { nowMs } = this.#core;
    for (const go of this.#waiting) {
      // The list is another one once a go has left it.
      try {
        const leftMs = this.#dueMs(go) - nowMs;
        if (leftMs <= 0) this.#start(go, -leftMs);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        this.#refuse(go, error);
      }
    }
  }

  #start(go: Waiting, lateMs: number): void {
    const { cues, nowS, nowMs, condition } = this.#core;
    if (lateMs > LATEST_MS) throw this.#late(lateMs);
    this.#mustBeArmed();
    if (condition === 'waking' || condition === 'parking' || condition === 'parked')
      throw new Refusal(
        'show.not-awake',
        `the prop is ${condition} when its time comes; send the go earlier`,
        { condition },
      );
    this.#core.mustBeLive();
    cues.run(go.cue, go.who, nowS);
    this.#drop(go);
    this.#started.set(go.cue, cues.runCount(go.cue));
    this.onOutcome(go.id, { startedMs: nowMs });
  }

  /** A go came while the prop was parking, or whoever had control has left. */
  #rouseForWaiting(): void {
    try {
      this.#rouse(this.#waiting[0]!.who);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      this.#voidAll(() => error);
    }
  }

  /** Keeps the lease while something of the show runs or waits; then the prop parks by itself. */
  #hold(): void {
    const { lease, condition, prop } = this.#core;
    if (lease.holder?.id !== this.#session!.id) this.#session = undefined;
    else if (condition !== 'waking' && condition !== 'live') {
      this.parkAsked();
      this.#leave(0);
    } else if (this.#waiting.length === 0 && !this.#anyRuns())
      this.#leave(this.#brokerLost ? 0 : (prop.show?.parkAfterS ?? 0));
  }

  /** A prop that is awake for the show parks. */
  #goAway(): void {
    this.#leave(0);
    const { condition } = this.#core;
    if (this.#ours && (condition === 'live' || condition === 'waking')) this.#core.park('prop');
  }

  #leave(graceS: number): void {
    const session = this.#session;
    this.#session = undefined;
    if (session && this.#core.lease.holder?.id === session.id) this.#core.release(session, graceS);
  }

  // --- helpers ------------------------------------------------------------------------------------

  /** Cues that the show has started and that still run. */
  #running(): string[] {
    this.#anyRuns();
    return [...this.#started.keys()];
  }

  #anyRuns(): boolean {
    const { cues } = this.#core;
    for (const [name, count] of this.#started)
      if (!cues.isRunning(name) || cues.runCount(name) !== count) this.#started.delete(name);
    return this.#started.size > 0;
  }

  /** Its sounds are asked for before its time. */
  #dueMs({ cue, startMs }: ShowGo): number {
    return startMs - 1000 * this.#core.cues.delayOf(cue);
  }

  #who(from: string): string {
    return `show ${this.#core.prop.show?.name ?? ''} (${plain(from)})`;
  }

  #mustBeArmed(): void {
    if (this.#armedBy !== undefined) return;
    throw new Refusal(
      'show.not-armed',
      'the prop is not armed for the show; look at it, take control there and arm it (show.arm)',
    );
  }

  #late(ms: number): Refusal {
    return new Refusal('show.late', `its time has passed by ${tidy(ms, 0)} ms; send it earlier`, {
      lateMs: ms,
    });
  }

  #lost(): Refusal {
    return new Refusal(
      'show.broker-lost',
      'the broker was lost before its time; send it again once the prop is back',
    );
  }

  #ended(): Refusal {
    return new Refusal('show.ended', 'the show ended it before its time; send another');
  }

  #voidAll(refusal: () => Refusal): void {
    for (const go of [...this.#waiting]) this.#refuse(go, refusal());
  }

  #refuse(go: Waiting, refusal: Refusal): void {
    this.#drop(go);
    this.#tell(go.who, `cue ${go.cue}`, refusal);
    this.onOutcome(go.id, { refusal });
  }

  #drop(go: Waiting): void {
    this.#waiting = this.#waiting.filter((other) => other !== go);
    this.revision++;
  }

  /** Like refusals are counted in one entry: whoever sends many flushes nothing else. */
  #tell(who: string, what: string, error: unknown): void {
    if (!(error instanceof Refusal)) throw error;
    this.#core.journal.recur(who, 'refused', `${what}: ${error.message}`, { ...error.values });
  }

  #remember(id: string): void {
    const { nowMs } = this.#core;
    for (const [old, untilMs] of this.#taken) if (nowMs > untilMs) this.#taken.delete(old);
    this.#taken.set(id, nowMs + REMEMBERED_MS);
    if (this.#taken.size > MOST_REMEMBERED) this.#taken.delete(this.#taken.keys().next().value!);
  }
}
