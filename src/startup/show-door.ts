import type { JournalEntry } from '../api/types.ts';
import type { Core } from '../core/core.ts';
import { causeOf } from '../gateway/cause.ts';
import type { WearSum } from '../service/wear-sum.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { ShowHost } from '../show/host.ts';
import { type Facts, type FromLink, ownMs, type PropState } from '../show/protocol.ts';

/** What has changed is told once in so many ticks, and what changes slowly once in so many (5 ms each). */
const TELL_TICKS = 20;
const SLOW_TICKS = 2000;
/** Wear is asked for once in so many ticks, for the first time soon after the start. */
const WEAR_TICKS = 12_000;
const FIRST_WEAR_TICK = 200;

type Host = Pick<ShowHost, 'follow' | 'tell' | 'answer' | 'receive' | 'close'>;

/** The core's side of the line to the show's thread: carries out what the show asks for, and tells what the prop does. */
export class ShowDoor {
  readonly #core: Core;
  readonly #clock: Clock;
  readonly #host: Host;
  readonly #readWear: () => Promise<WearSum>;
  #wear: WearSum | undefined;
  #cause: PropState['cause'] = null;
  /** Why the broker is not there; null while it is. */
  #problem: string | null | undefined;
  #ticks = 0;
  #dirty = true;
  readonly #seen = { condition: '', cues: -1, show: -1, holder: '' };

  /** @param readWear asks the prop-file service, which counts it */
  constructor(
    core: Core,
    clock: Clock,
    makeHost: (message: (said: FromLink) => void) => Host,
    readWear: () => Promise<WearSum>,
  ) {
    this.#core = core;
    this.#clock = clock;
    this.#readWear = readWear;
    this.#host = makeHost((message) => this.#hear(message));
    core.show.onOutcome = (id, outcome) => {
      if ('refusal' in outcome) this.#refused(id, outcome.refusal);
      else
        this.#host.answer({
          id,
          outcome: 'done',
          startedMs: ownMs() + outcome.startedMs - this.#clock.nowMs(),
        });
    };
  }

  /** The prop in use is another one, or the first. */
  follow(): void {
    const { prop, version } = this.#core;
    const { show } = prop;
    const facts: Facts | undefined = show && {
      show,
      name: prop.name,
      file: version,
      cues: Object.keys(prop.cues),
    };
    this.#host.follow(facts);
    this.#dirty = true;
  }

  /** Why the prop is in its condition, from the journal. */
  sendEntry(entry: JournalEntry): void {
    const cause = causeOf(entry);
    if (!cause) return;
    const { code, who, words } = cause;
    this.#cause = {
      code: code.slice(0, 64),
      who: who.slice(0, 100),
      words: words.slice(0, 300),
    };
    this.#dirty = true;
  }

  /** What keeps the prop from waking and moving has changed. */
  safetyChanged(): void {
    this.#dirty = true;
  }

  /** The thread ended, and the broker is lost with it. @param retryMs null where it does not start again */
  died(why: string, retryMs: number | null): void {
    const again = retryMs === null ? '' : `; it starts again in ${retryMs} ms`;
    this.#core.journal.add('prop', 'show', `the show's thread ended: ${why}${again}`);
    this.#linked(false, 'its thread ended');
  }

  /** Once a tick, after the core's. */
  tick(): void {
    this.#host.receive();
    this.#look();
    this.#ticks++;
    if (this.#ticks % TELL_TICKS !== 0) return;
    if (this.#core.prop.show && this.#ticks % WEAR_TICKS === FIRST_WEAR_TICK) this.#askWear();
    if (!this.#dirty && this.#ticks % SLOW_TICKS !== 0) return;
    if (!this.#core.prop.show) return;
    this.#dirty = false;
    this.#host.tell(this.#state());
  }

  close(): Promise<void> {
    return this.#host.close();
  }

  // --- what the show asks for -----------------------------------------------------------------------

  #hear(message: FromLink): void {
    if (message.t === 'link') {
      this.#linked(message.connected, message.problem);
      return;
    }
    this.#core.catchUp();
    try {
      const outcome = this.#carryOut(message);
      if (outcome) this.#host.answer({ id: message.id, outcome });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      this.#refused(message.id, error);
    }
  }

  #carryOut(message: Exclude<FromLink, { t: 'link' }>): 'waits' | 'done' | undefined {
    const { show } = this.#core;
    switch (message.t) {
      case 'go': {
        const { id, cue, startMs, from } = message;
        return show.go({ id, cue, startMs: this.#coreMs(startMs) }, from) ? 'waits' : undefined;
      }
      case 'retime':
        show.retime(message.id, this.#coreMs(message.startMs));
        return undefined;
      case 'void':
        show.void(message.id, message.reason);
        return undefined;
      case 'end':
        show.end(message.cue, message.from);
        return 'done';
      case 'park':
        show.park(message.from);
        return 'done';
      case 'stop':
        show.stop(message.category, message.from);
        return 'done';
      case 'lockout':
        show.lockout(message.reason, message.from);
        return 'done';
    }
  }

  #refused(id: string, { word: code, message: reason }: Refusal): void {
    this.#host.answer({ id, outcome: 'refused', code, reason });
  }

  #coreMs(ms: number): number {
    return this.#clock.nowMs() + ms - ownMs();
  }

  #linked(connected: boolean, problem: string | null): void {
    const { show, journal } = this.#core;
    show.brokerLost(!connected);
    if (problem !== this.#problem)
      journal.recur(
        'prop',
        'show',
        connected
          ? 'the broker of the show is there'
          : `the broker of the show is lost: ${problem}`,
        {},
      );
    this.#problem = problem;
    this.#dirty = true;
  }

  // --- what the prop does ---------------------------------------------------------------------------

  #look(): void {
    const { condition, cues, show, lease } = this.#core;
    const holder = lease.holder?.client ?? '';
    const seen = this.#seen;
    if (
      seen.condition === condition &&
      seen.cues === cues.revision &&
      seen.show === show.revision &&
      seen.holder === holder
    )
      return;
    seen.condition = condition;
    seen.cues = cues.revision;
    seen.show = show.revision;
    seen.holder = holder;
    this.#dirty = true;
  }

  #state(): PropState {
    const { condition, cues, show, lease, locked, safety } = this.#core;
    const { lockout, guards, notParked, senses = [] } = safety;
    const problems = [
      ...(condition === 'stopped' || condition === 'faulted'
        ? [`${condition}: ${this.#cause?.words ?? 'see the journal of the prop'}`]
        : []),
      ...(lockout ? [`hands are in the prop (${lockout.by}: ${lockout.reason})`] : []),
      ...guards.map(({ name }) => `guard ${name} is broken`),
      ...senses.map(({ text }) => text),
      ...(notParked === null ? [] : [`at rest, not parked: ${notParked}`]),
    ];
    return {
      condition,
      cause: this.#cause,
      armed: show.armedBy !== undefined,
      armedBy: show.armedBy?.slice(0, 100) ?? null,
      holder: lease.holder?.client.slice(0, 100) ?? null,
      lockout: locked,
      runs: cues.runningNames.slice(0, 64),
      waits: show.waits,
      battery: this.#battery(),
      ...(this.#wear && { wear: this.#wear }),
      problems: problems.slice(0, 16).map((text) => text.slice(0, 300)),
    };
  }

  #askWear(): void {
    this.#readWear().then(
      (wear) => {
        this.#wear = wear;
        this.#dirty = true;
      },
      () => {
        // The service has died, which is said elsewhere: what it said last still holds.
      },
    );
  }

  /** The battery whose voltage is the lowest for what it may be. */
  #battery(): PropState['battery'] {
    const { body, prop, safety } = this.#core;
    for (const sense of body.senses.list) {
      const { name, kind } = sense;
      const spec = prop.senses[name]!;
      if (kind !== 'volts' || !('rail' in spec) || spec.rail === undefined) continue;
      if (!prop.rails[spec.rail]?.battery) continue;
      const volts = body.senses.valueOf(sense);
      if (!Number.isFinite(volts)) continue;
      const low = safety.senses?.some((note) => note.name === name && note.what === 'low') === true;
      return { sense: name, volts: Math.round(volts * 100) / 100, low };
    }
    return null;
  }
}
