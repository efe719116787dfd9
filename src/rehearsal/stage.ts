import type { JournalEntry } from '../api/types.ts';
import type { Driver, Frame } from '../boards/board.ts';
import { Core } from '../core/core.ts';
import { Journal } from '../core/journal.ts';
import type { Prop } from '../prop/schema.ts';
import { takesOfCues } from '../prop/take/played.ts';
import type { Clock } from '../shared/clock.ts';
import type { What } from '../shared/journal.ts';

/** Something reported during a rehearsal: refused, delayed, or slower than asked. */
export interface Event {
  tS: number;
  what: What;
  text: string;
  /** The channel that it is about, if any. */
  channel?: string;
  /** The cue, and its step from 0, that it is about. */
  cue?: string;
  step?: number;
}

export const TICK_MS = 5;
/** Who commands in a rehearsal. */
export const REHEARSAL = 'rehearsal';
/** Journal entries that are reported. */
const REPORTED: ReadonlySet<What> = new Set<What>([
  'refused',
  'delayed',
  'staggered',
  'slower',
  'interlock',
  'duty',
  'flash',
  'park',
  'stop',
  'fault',
]);

/** A board on which nothing happens. */
class NoBoard implements Driver {
  readonly pulseStepUs = 1;
  async open(): Promise<void> {}
  write(_frame: Frame): void {}
  /** The contact of a stop button that nobody presses: closed. */
  read(): 0 | 1 {
    return 0;
  }
  async close(): Promise<void> {}
}

/** A clock that changes only when its time is set. */
class SetClock implements Clock {
  ms = 0;
  nowMs(): number {
    return this.ms;
  }
  wallMs(): number {
    return this.ms;
  }
  after(): () => void {
    return () => {};
  }
}

/** Rounds to whole ms: the sum of many ticks has rounding errors. */
export function time(seconds: number): number {
  return Math.round(seconds * 1000) / 1000;
}

/** The core itself, without hardware, on a virtual clock; every servo is known and every relay rested. */
export class Stage {
  readonly #clock = new SetClock();
  readonly core: Core;
  /** Since `listen`. */
  readonly events: Event[] = [];
  startedS = Number.POSITIVE_INFINITY;

  private constructor(prop: Prop) {
    this.core = new Core({
      // The prop's real stop button, lockout, guards and senses do not affect a rehearsal.
      prop: {
        ...prop,
        stopInput: undefined,
        lockoutInput: undefined,
        guards: {},
        senses: {},
        cueTakes: takesOfCues(prop),
      },
      drivers: new Map(Object.keys(prop.boards).map((name) => [name, new NoBoard()])),
      clock: this.#clock,
      telemetry: undefined,
      store: { restored: 'none', noted: 'yes', bootNowS: () => 0, save: () => {} },
      journal: new Journal(this.#clock, (entry) => this.#hear(entry)),
      tickMs: TICK_MS,
    });
    for (const servo of this.core.body.servos) servo.known = true;
    for (const relay of this.core.body.relays) relay.duty?.beRested();
  }

  /** @param triggers replace those of the prop */
  static async of(prop: Prop, triggers: Prop['triggers'] = {}): Promise<Stage> {
    const stage = new Stage({ ...prop, triggers });
    await stage.core.open();
    return stage;
  }

  /** Takes control and begins to wake the prop. @throws Refusal when it may not wake */
  beginWake(): void {
    this.core.take({ id: REHEARSAL, client: REHEARSAL, slot: -1, unattended: true });
    this.core.wake(REHEARSAL);
  }

  /** Wakes the prop, to the end. @throws Refusal when it may not wake */
  wake(): void {
    this.beginWake();
    while (this.core.condition === 'waking') this.tick();
  }

  tick(): void {
    this.#clock.ms += TICK_MS;
    this.core.tick(this.#clock.ms, 1);
  }

  /** From now on, reports are recorded. */
  listen(): void {
    this.startedS = this.core.nowS;
  }

  get sinceS(): number {
    return this.core.nowS - this.startedS;
  }

  /** Something runs, parks or has not reached its target. */
  get isBusy(): boolean {
    const { cues, condition, body } = this.core;
    return (
      cues.anyRunning ||
      condition === 'parking' ||
      body.channels.some(({ isUnsettled }) => isUnsettled)
    );
  }

  #hear({ what, text, values }: JournalEntry): void {
    // The core may report before the stage is complete.
    if (!Number.isFinite(this.startedS) || this.sinceS < 0 || !REPORTED.has(what)) return;
    const about = { cue: values?.cue as string, step: values?.step as number };
    const tS = time(this.sinceS);
    // The cue repeats what the gate reports about a move, and adds the step.
    const last = this.events.at(-1);
    if (about.step !== undefined && last?.tS === tS && last.what === what && !last.cue)
      this.events.pop();
    this.events.push({
      tS,
      what,
      text,
      ...(values?.channel !== undefined && { channel: values.channel as string }),
      ...(values?.cue !== undefined && about),
    });
  }
}
