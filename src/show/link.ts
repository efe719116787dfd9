import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { type Reading, ShowClock } from './clock.ts';
import type { Facts, FromLink, PropState, ToLink } from './protocol.ts';
import {
  type Answer,
  type Command,
  CUES_LISTED,
  MESSAGE_LIMIT_BYTES,
  read,
  STATUS_EVERY_MS,
  type Status,
  topics,
  write,
} from './wire.ts';

/** Ids that are remembered, with their answers. */
const IDS = 1024;
/** Conductors whose clocks are kept; one that has been silent for so long gives its place away (ms). */
const CLOCKS = 4;
const SILENT_MS = 30_000;
/** Questions for the time: at once, so many so soon after each other (ms); then one now and then (ms). */
const BURST = 8;
const BURST_EVERY_MS = 120;
const ASK_EVERY_MS = 8000;
/** A question is answered by then, or never (ms); so many may be open. */
const ASK_OPEN_MS = 3000;
const ASKS_OPEN = 32;
/** How often the link looks at what is due (ms). */
const LOOK_MS = 50;
/** So long before its time a go is timed again, by what is known then (ms). */
const RETIME_MS = 500;
/** Two statuses are at least this far apart (ms). */
const STATUS_APART_MS = 250;
/** Commands of one kind that are heeded: so many a second for ever, so many at once. */
const COMMANDS_PER_S = 10;
const COMMANDS_BURST = 20;
/** A problem with what comes in is in the status for so long (ms). */
const PROBLEM_MS = 60_000;

/** Where messages go out. */
export interface Wire {
  /** False where it could not be sent: the broker is away, or takes nothing. Nothing waits for it. */
  send(topic: string, payload: string, retain: boolean): boolean;
}

interface LinkOptions {
  facts: Facts;
  /** Version of the program. */
  version: string;
  /** `nowMs` is `ownMs` in the daemon. */
  clock: Pick<Clock, 'nowMs' | 'after'>;
  wire: Wire;
  toCore: (message: FromLink) => void;
  /** 0 to 1; a test gives its own. */
  random?: () => number;
}

interface Known {
  clock: ShowClock;
  heardMs: number;
}

type Go = Extract<Command, { act: 'go' }>;

interface Waiting {
  /** When it starts, and by which clock. */
  atMs: number;
  clock: string;
  retimed: boolean;
}

/**
 * The show's side of one prop: reads commands, measures the clocks of conductors, says what the prop does. It
 * knows no MQTT and no core: `Wire` and `toCore` stand for them. Everything that it keeps is bounded.
 */
export class Link {
  #facts: Facts;
  readonly #version: string;
  readonly #clock: LinkOptions['clock'];
  readonly #wire: Wire;
  readonly #toCore: (message: FromLink) => void;
  readonly #random: () => number;
  /** By id: what the command was, and what was answered last. */
  readonly #ids = new Map<string, { act: Command['act']; answer: Answer | undefined }>();
  readonly #clocks = new Map<string, Known>();
  /** By id of the question: when it was sent (ms). */
  readonly #asks = new Map<string, number>();
  readonly #waiting = new Map<string, Waiting>();
  readonly #buckets = new Map<string, Bucket>();
  #state: PropState | undefined;
  #connected = false;
  #burst = 0;
  #nextAskMs = 0;
  /** The status is not the one that was sent last. */
  #changed = false;
  #sentMs = Number.NEGATIVE_INFINITY;
  #problem: { text: string; atMs: number } | undefined;
  #lostAnswers = 0;
  #cancel: () => void = () => {};

  constructor({ facts, version, clock, wire, toCore, random = Math.random }: LinkOptions) {
    this.#facts = facts;
    this.#version = version;
    this.#clock = clock;
    this.#wire = wire;
    this.#toCore = toCore;
    this.#random = random;
    this.#look();
  }

  /** What the broker must pass on: commands, and what is said of time. */
  get commandTopics(): string[] {
    const { name, prop, groups } = this.#facts.show;
    return [
      topics.command(name, prop),
      ...groups.map((group) => topics.groupCommand(name, group)),
      topics.allCommand(name),
    ];
  }

  get clockTopics(): string[] {
    const { name, prop } = this.#facts.show;
    return [topics.time(name, prop), topics.here(name)];
  }

  /** What the broker says of the prop once its link ends. */
  get will(): { topic: string; payload: string } {
    const { name, prop } = this.#facts.show;
    return {
      topic: topics.status(name, prop),
      payload: write({ v: 1, prop, gone: true }),
    };
  }

  /** The show's clock of a conductor, as it is known now. */
  reading(clock: string): Reading | undefined {
    return this.#clocks.get(clock)?.clock.at(this.#clock.nowMs());
  }

  /** The broker passes on commands from now on. */
  connected(): void {
    this.#connected = true;
    this.#toCore({ t: 'link', connected: true, problem: null });
    this.#changed = true;
    this.#sentMs = Number.NEGATIVE_INFINITY;
    this.#askSoon();
  }

  /** The broker is lost, or cannot be had. @param problem why; nothing secret */
  lost(problem: string): void {
    this.#connected = false;
    this.#waiting.clear();
    this.#asks.clear();
    this.#burst = 0;
    this.#toCore({ t: 'link', connected: false, problem });
  }

  close(): void {
    this.#cancel();
  }

  /** Something that the core says. */
  hear(message: Exclude<ToLink, { t: 'close' }>): void {
    switch (message.t) {
      case 'facts':
        this.#facts = message.facts;
        this.#changed = true;
        break;
      case 'state':
        this.#state = message.state;
        this.#changed = true;
        break;
      case 'answer': {
        const { t: _, id, startedMs, ...rest } = message;
        const known = this.#ids.get(id);
        if (!known) return;
        const clock = this.#waiting.get(id)?.clock;
        if (rest.outcome !== 'waits') this.#waiting.delete(id);
        const reading = clock === undefined ? undefined : this.reading(clock);
        this.#answer(id, known.act, {
          ...rest,
          ...(startedMs !== undefined &&
            reading && {
              startedMs: startedMs + reading.offsetMs,
              uncertaintyMs: reading.uncertaintyMs,
            }),
        });
      }
    }
  }

  // --- what comes in ------------------------------------------------------------------------------

  /** A message from the broker. @param retained kept by the broker, and so from nobody knows when */
  receive(topic: string, payload: Uint8Array, retained: boolean): void {
    if (this.commandTopics.includes(topic)) this.#command(payload, retained);
    else if (topic === topics.time(this.#facts.show.name, this.#facts.show.prop))
      this.#time(payload);
    else if (topic === topics.here(this.#facts.show.name)) this.#here(payload);
  }

  #command(payload: Uint8Array, retained: boolean): void {
    const heard = read('command', payload);
    if ('wrong' in heard) {
      this.#note(`a command was dropped: ${heard.wrong}`);
      return;
    }
    const { message } = heard;
    const { id, act } = message;
    const known = this.#ids.get(id);
    if (known) {
      // Sent again, as its answer may have been lost; nothing is done again.
      if (known.answer && this.#admit('again')) this.#send(known.answer);
      return;
    }
    if (retained) {
      this.#note('a retained command was ignored: commands must not be retained');
      return;
    }
    const kind = message.act === 'stop' ? `stop ${message.category}` : act;
    if (!this.#admit(kind)) {
      this.#note(`commands come too often: ${kind} was dropped`);
      return;
    }
    this.#ids.set(id, { act, answer: undefined });
    if (this.#ids.size > IDS) this.#ids.delete(this.#ids.keys().next().value!);
    this.#carryOut(message);
  }

  #carryOut(message: Command): void {
    const { id, from } = message;
    switch (message.act) {
      case 'go':
        this.#go(message);
        break;
      case 'end':
        this.#toCore({ t: 'end', id, cue: message.cue, from });
        break;
      case 'park':
        this.#toCore({ t: 'park', id, from });
        break;
      case 'stop':
        this.#toCore({ t: 'stop', id, category: message.category, from });
        break;
      case 'lockout':
        this.#toCore({ t: 'lockout', id, reason: message.reason, from });
    }
  }

  #go(go: Go): void {
    const { id, cue, from, atMs, clock } = go;
    try {
      const startMs = this.#startOf(go);
      this.#waiting.set(id, { atMs, clock, retimed: false });
      this.#toCore({ t: 'go', id, cue, startMs, from });
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      const { word: code, message: reason } = error;
      this.#answer(id, 'go', { outcome: 'refused', code, reason });
    }
  }

  /** When a go starts, on the prop's own clock (ms). @throws Refusal where this prop cannot keep it */
  #startOf({ atMs, sentMs, voidAfterMs, clock }: Go): number {
    const nowMs = this.#clock.nowMs();
    const known = this.#clocks.get(clock);
    const reading = known?.clock.at(nowMs);
    if (!known || !reading)
      throw new Refusal(
        'show.no-clock',
        'this prop does not know the clock of the conductor; send the go again in a second',
      );
    const { maxUncertaintyMs } = this.#facts.show;
    if (reading.uncertaintyMs > maxUncertaintyMs)
      throw new Refusal('show.uncertain', uncertain(reading, maxUncertaintyMs));
    const ageMs = nowMs + reading.offsetMs - sentMs;
    if (ageMs - reading.uncertaintyMs > voidAfterMs)
      throw new Refusal(
        'show.void',
        `the go is ${Math.round(ageMs)} ms old and was to be void after ${Math.round(voidAfterMs)} ms`,
      );
    const startMs = known.clock.ownMs(atMs, nowMs)!;
    if (startMs < nowMs)
      throw new Refusal(
        'show.late',
        `its time has passed by ${Math.round(nowMs - startMs)} ms; send it earlier`,
      );
    return startMs;
  }

  #time(payload: Uint8Array): void {
    const nowMs = this.#clock.nowMs();
    const heard = read('time', payload);
    if ('wrong' in heard) return;
    const { clock, ask, t2, t3 } = heard.message;
    // Its own note of when it asked counts, not what came back.
    const t1 = this.#asks.get(ask);
    if (t1 === undefined) return;
    this.#knownClock(clock, nowMs)?.clock.add({ t1, t2, t3, t4: nowMs });
  }

  /** The clock of that name, which may be a new one; undefined where there are too many. */
  #knownClock(name: string, nowMs: number): Known | undefined {
    let known = this.#clocks.get(name);
    if (!known) {
      for (const [other, { heardMs }] of this.#clocks)
        if (this.#clocks.size >= CLOCKS && nowMs - heardMs > SILENT_MS) this.#clocks.delete(other);
      if (this.#clocks.size >= CLOCKS) return undefined;
      known = { clock: new ShowClock(), heardMs: nowMs };
      this.#clocks.set(name, known);
      this.#changed = true;
    }
    known.heardMs = nowMs;
    return known;
  }

  #here(payload: Uint8Array): void {
    const heard = read('here', payload);
    if ('wrong' in heard || this.#clocks.has(heard.message.clock)) return;
    if (this.#burst === 0) this.#askSoon();
  }

  // --- what is due --------------------------------------------------------------------------------

  #look(): void {
    this.#cancel = this.#clock.after(LOOK_MS, () => {
      if (this.#connected) this.#doDue();
      this.#look();
    });
  }

  #doDue(): void {
    const nowMs = this.#clock.nowMs();
    for (const [ask, t1] of this.#asks) if (nowMs - t1 > ASK_OPEN_MS) this.#asks.delete(ask);
    if (nowMs >= this.#nextAskMs) this.#ask(nowMs);
    for (const [id, go] of this.#waiting) this.#retime(id, go, nowMs);
    const dueMs = this.#sentMs + (this.#changed ? STATUS_APART_MS : STATUS_EVERY_MS);
    if (this.#state && nowMs >= dueMs) this.#sendStatus(this.#state, nowMs);
  }

  /** Many props hear the same: each begins at a moment of its own. */
  #askSoon(): void {
    this.#burst = BURST;
    this.#nextAskMs = this.#clock.nowMs() + 400 * this.#random();
  }

  #ask(nowMs: number): void {
    const { name, prop } = this.#facts.show;
    const pauseMs = this.#burst > 0 ? BURST_EVERY_MS : ASK_EVERY_MS;
    this.#burst = Math.max(0, this.#burst - 1);
    this.#nextAskMs = nowMs + pauseMs * (0.75 + 0.5 * this.#random());
    if (this.#asks.size >= ASKS_OPEN) return;
    const ask = `a${Math.floor(this.#random() * 1e15)
      .toString(36)
      .padStart(12, '0')}`;
    const t1 = this.#clock.nowMs();
    this.#asks.set(ask, t1);
    this.#wire.send(topics.ask(name), write({ v: 1, prop, ask, t1: Math.max(0, t1) }), false);
  }

  #retime(id: string, go: Waiting, nowMs: number): void {
    if (go.retimed) return;
    const known = this.#clocks.get(go.clock);
    const startMs = known?.clock.ownMs(go.atMs, nowMs);
    if (known && startMs !== undefined && startMs - nowMs > RETIME_MS) return;
    go.retimed = true;
    const reading = known?.clock.at(nowMs);
    const { maxUncertaintyMs } = this.#facts.show;
    if (startMs === undefined || !reading)
      this.#toCore({ t: 'void', id, reason: 'the clock of the conductor is no longer known' });
    else if (reading.uncertaintyMs > maxUncertaintyMs)
      this.#toCore({ t: 'void', id, reason: uncertain(reading, maxUncertaintyMs) });
    else this.#toCore({ t: 'retime', id, startMs });
  }

  // --- what goes out ------------------------------------------------------------------------------

  #answer(id: string, act: Command['act'], rest: Omit<Answer, 'v' | 'prop' | 'id' | 'act'>): void {
    const known = this.#ids.get(id);
    const answer: Answer = { v: 1, prop: this.#facts.show.prop, id, act, ...rest };
    if (answer.reason !== undefined) answer.reason = answer.reason.slice(0, 1000);
    if (known) known.answer = answer;
    this.#send(answer);
  }

  #send(answer: Answer): void {
    const { name, prop } = this.#facts.show;
    if (!this.#wire.send(topics.answer(name, prop), write(answer), false)) this.#lostAnswers++;
  }

  #sendStatus(state: PropState, nowMs: number): void {
    const { show, cues, name, file } = this.#facts;
    const problems = [...state.problems];
    if (this.#problem && nowMs - this.#problem.atMs < PROBLEM_MS) problems.push(this.#problem.text);
    if (this.#lostAnswers > 0)
      problems.push(`${this.#lostAnswers} answers were lost, as the broker did not take them`);
    const status: Extract<Status, { gone: false }> = {
      v: 1,
      prop: show.prop,
      gone: false,
      name,
      groups: show.groups,
      ...state,
      cues: [],
      cuesLeftOut: cues.length,
      version: this.#version,
      file,
      clocks: [...this.#clocks].flatMap(([clock, known]) => {
        const reading = known.clock.at(nowMs);
        if (!reading) return [];
        const { offsetMs, uncertaintyMs, delayMs } = reading;
        return [{ clock, offsetMs, uncertaintyMs, delayMs }];
      }),
      problems: problems.slice(0, 16),
    };
    // What does not fit is left out: cues first, then what is least needed.
    let leftBytes = MESSAGE_LIMIT_BYTES - Buffer.byteLength(write(status));
    if (leftBytes < 0) Object.assign(status, { problems: problems.slice(0, 1), runs: [] });
    for (const cue of cues.slice(0, CUES_LISTED)) {
      leftBytes -= cue.length + 3;
      if (leftBytes < 0) break;
      status.cues.push(cue);
      status.cuesLeftOut--;
    }
    if (!this.#wire.send(topics.status(show.name, show.prop), write(status), true)) return;
    this.#changed = false;
    this.#sentMs = nowMs;
  }

  /** Something about what comes in, for whoever looks at the status; nothing of the payload. */
  #note(text: string): void {
    if (this.#problem?.text !== text) this.#changed = true;
    this.#problem = { text, atMs: this.#clock.nowMs() };
  }

  #admit(kind: string): boolean {
    const nowMs = this.#clock.nowMs();
    let bucket = this.#buckets.get(kind);
    if (!bucket) {
      bucket = new Bucket(COMMANDS_PER_S, COMMANDS_BURST, nowMs);
      this.#buckets.set(kind, bucket);
    }
    return bucket.take(1, nowMs);
  }
}

function uncertain({ uncertaintyMs }: Reading, most: number): string {
  return `the show's clock is known to ${uncertaintyMs.toFixed(1)} ms, and the file allows ${most} ms (show.maxUncertaintyMs); look at the network`;
}
