import type { Prop, Trigger } from '../prop/schema.ts';
import type { Clock } from '../shared/clock.ts';
import type { Condition } from '../shared/condition.ts';
import { Refusal } from '../shared/errors.ts';
import type { Board } from './boards.ts';
import type { Body } from './body.ts';
import type { Cues } from './cues.ts';
import type { Journal } from './journal.ts';
import type { Lease, Session } from './lease.ts';

/** Time that passes between two ticks at most (ms); more, and the clock was set, or stood still. */
const LONGEST_TICK_MS = 2000;

interface Input {
  name: string;
  board: Board;
  input: number;
  activeLevel: 0 | 1;
  debounceMs: number;
  /** The steady state, undefined as long as it is not known; the one seen last, and since when. */
  active: boolean | undefined;
  seen: boolean;
  sinceMs: number;
}

/** What triggers need from the core. */
interface TriggerHost {
  readonly prop: Prop;
  readonly body: Body;
  readonly journal: Journal;
  readonly lease: Lease;
  readonly cues: Cues;
  readonly condition: Condition;
  /** Somebody has looked at the prop since the last crash, or there was none. */
  readonly attended: boolean;
  readonly unattendedWhy: string;
  /** Time of the last tick (s since the core was made). */
  readonly nowS: number;
  mustBeLive(): void;
  take(session: Session): void;
  release(session: Session, graceS: number): void;
  wake(who: string): void;
  levelOf(board: Board, input: number): 0 | 1 | undefined;
}

/** A cue that a trigger woke the prop for. */
interface Unattended {
  trigger: string;
  cue: string;
  session: Session;
  started: boolean;
}

/**
 * What starts a cue without a person asking: a contact, a time of day, the start of the daemon, an
 * OSC message. With somebody in control it takes effect only while they have armed the triggers;
 * with nobody in control, only if it may run unattended: then it wakes the prop, runs its cue and
 * parks it again.
 */
export class Triggers {
  readonly #core: TriggerHost;
  readonly #clock: Clock;
  #triggers: ReadonlyMap<string, Trigger> = new Map();
  #inputs: Input[] = [];
  /** The day on which each time of day last fired. */
  readonly #firedOn = new Map<string, string>();
  /** Wall-clock time in the last tick. */
  #wallMs = 0;
  #started = false;
  #unattended: Unattended | undefined;
  /** The holder wants the triggers to take effect. */
  armed = false;

  constructor(core: TriggerHost, clock: Clock) {
    this.#core = core;
    this.#clock = clock;
    this.follow();
    this.readInputs();
  }

  /** Uses the triggers of the version of the file that is in use; their contacts stay. */
  follow(): void {
    this.#triggers = new Map(Object.entries(this.#core.prop.triggers));
  }

  /** Watches the contacts of the body that is in use. */
  readInputs(): void {
    const { body, prop } = this.#core;
    this.#inputs = [...body.triggerInputs].map(([name, { board, input }]) => {
      const spec = prop.triggers[name]!.input!;
      // A contact to ground against a pull-up.
      const activeLevel = spec.normallyClosed ? 1 : 0;
      const { debounceMs } = spec;
      return {
        name,
        board,
        input,
        activeLevel,
        debounceMs,
        active: undefined,
        seen: false,
        sinceMs: 0,
      };
    });
  }

  /** The daemon has started: what begins with it, begins. */
  begin(): void {
    this.#started = true;
    this.#wallMs = this.#clock.wallMs();
    for (const [name, { start }] of this.#triggers) if (start) this.fire(name);
  }

  /** An OSC message has come in. */
  osc(address: string): void {
    for (const [name, trigger] of this.#triggers) if (trigger.osc === address) this.fire(name);
  }

  /** Runs a trigger's cue if it may run now; if not, the journal says why. */
  fire(name: string): void {
    const { cue, unattended } = this.#triggers.get(name)!;
    const { journal, lease, condition, nowS, cues } = this.#core;
    const who = `trigger ${name}`;
    try {
      if (lease.holder && !this.#unattended) {
        if (!this.armed)
          throw new Refusal(
            'trigger.not-armed',
            `${lease.holder.client} has control and has not armed the triggers`,
          );
        this.#core.mustBeLive();
        cues.run(cue, who, nowS);
        return;
      }
      if (this.#unattended)
        throw new Refusal('trigger.busy', `${this.#unattended.trigger} is at work`);
      if (!unattended)
        throw new Refusal(
          'trigger.attended-only',
          'nobody has control, and it may not run unattended',
        );
      if (!this.#core.attended)
        throw new Refusal(
          'trigger.unattended',
          `${this.#core.unattendedWhy}; somebody must look at the prop and take control first`,
        );
      if (condition !== 'parked')
        throw new Refusal('trigger.not-parked', `the prop is ${condition}, not parked`);
      const session = { id: who, client: who, slot: -1, unattended: true };
      this.#core.take(session);
      this.#unattended = { trigger: name, cue, session, started: false };
      this.#wake(who);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      // Anybody may send OSC messages: reported once and counted, they flush nothing else.
      journal.recur(who, 'refused', `cue ${cue}: ${error.message}`, {
        trigger: name,
        cue,
        ...error.values,
      });
    }
  }

  #wake(who: string): void {
    try {
      this.#core.wake(who);
    } catch (error) {
      this.#endUnattended();
      throw error;
    }
  }

  /** Once a tick. */
  tick(nowMs: number): void {
    if (!this.#started) return;
    for (const input of this.#inputs) this.#look(input, nowMs);
    this.#lookAtTheClock();
    this.#goOnUnattended();
  }

  #look(input: Input, nowMs: number): void {
    const level = this.#core.levelOf(input.board, input.input);
    const active = level === input.activeLevel;
    // A contact that is closed already, at the start or when its board comes back, does not count as a change.
    if (level === undefined || input.active === undefined) {
      input.active = level === undefined ? undefined : active;
      input.seen = active;
      return;
    }
    if (active !== input.seen) {
      input.seen = active;
      input.sinceMs = nowMs;
    }
    if (active === input.active || nowMs - input.sinceMs < input.debounceMs) return;
    input.active = active;
    if (active) this.fire(input.name);
  }

  /** A time of day fires when it is passed; setting the clock past it does not fire it. */
  #lookAtTheClock(): void {
    const beforeMs = this.#wallMs;
    const nowMs = this.#clock.wallMs();
    this.#wallMs = nowMs;
    if (nowMs <= beforeMs || nowMs - beforeMs > LONGEST_TICK_MS) return;
    // Times of day are whole seconds: most ticks pass none.
    if (Math.floor(nowMs / 1000) === Math.floor(beforeMs / 1000)) return;
    for (const [name, { daily }] of this.#triggers) {
      if (daily === undefined) continue;
      const [hour, minute, second = 0] = daily.split(':').map(Number);
      const due = new Date(nowMs);
      due.setHours(hour!, minute!, second, 0);
      const today = due.toDateString();
      // Set back by a little, the clock passes the same time again.
      const passed = beforeMs < due.getTime() && due.getTime() <= nowMs;
      if (!passed || this.#firedOn.get(name) === today) continue;
      this.#firedOn.set(name, today);
      this.fire(name);
    }
  }

  /** Runs the cue once the prop is live, and lets the prop park when the cue is over. */
  #goOnUnattended(): void {
    const one = this.#unattended;
    if (!one) return;
    const { condition, cues, journal, lease, nowS } = this.#core;
    // A person has taken over, or something else has ended it.
    if (lease.holder?.id !== one.session.id || (condition !== 'waking' && condition !== 'live')) {
      this.#endUnattended();
      return;
    }
    if (condition === 'waking') return;
    if (!one.started) {
      one.started = true;
      try {
        cues.run(one.cue, one.session.client, nowS);
      } catch (error) {
        if (!(error instanceof Refusal)) throw error;
        journal.add(
          one.session.client,
          'refused',
          `cue ${one.cue}: ${error.message}`,
          error.values,
        );
        this.#endUnattended();
      }
    } else if (!cues.isRunning(one.cue)) this.#endUnattended();
  }

  #endUnattended(): void {
    const one = this.#unattended;
    this.#unattended = undefined;
    if (one && this.#core.lease.holder?.id === one.session.id) this.#core.release(one.session, 0);
  }
}
