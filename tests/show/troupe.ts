import { VirtualClock } from '../../src/shared/clock.ts';
import { Conductor, type Wish } from '../../src/show/conductor.ts';
import {
  type Answer,
  type Command,
  read,
  type Status,
  topics,
  write,
} from '../../src/show/wire.ts';

const SHOW = 'foyer';
/** Messages are on their way so long (ms). */
const WAY_MS = 5;

type Present = Extract<Status, { gone: false }>;

/** A prop that heeds each id once, as the real one does; it has no core. */
export class Actor {
  readonly name: string;
  readonly heard: Command[] = [];
  /** Cues that were started: when (ms), by the clock of the conductor. */
  readonly started: { cue: string; atMs: number }[] = [];
  readonly #troupe: Troupe;
  readonly #ids = new Map<string, Answer>();
  status: Present;
  /** It hears nothing, or its answers are lost. */
  deaf = false;
  mute = false;
  refuses: string | undefined;

  constructor(name: string, troupe: Troupe) {
    this.name = name;
    this.#troupe = troupe;
    this.status = {
      ...{ v: 1, prop: name, gone: false, name, groups: [], condition: 'live', cause: null },
      ...{ armed: true, armedBy: 'desk', holder: null, lockout: false, runs: [], waits: 0 },
      ...{ cues: ['nod', 'blink'], cuesLeftOut: 0, battery: null, version: '1', file: 'v1' },
      ...{ clocks: [], problems: [] },
    };
  }

  say(change: Partial<Present> = {}): void {
    this.status = { ...this.status, ...change };
    this.#troupe.toConductors(topics.status(SHOW, this.name), write(this.status));
  }

  askTime(): void {
    for (let i = 0; i < 8; i++)
      this.#troupe.toConductors(
        topics.ask(SHOW),
        write({ v: 1, prop: this.name, ask: `ask-${this.name}-0000${i}`, t1: 0 }),
      );
  }

  hear(command: Command): void {
    if (this.deaf) return;
    const known = this.#ids.get(command.id);
    if (!known) this.heard.push(command);
    this.#answer(known ?? this.#answerTo(command));
    if (!known && command.act === 'go' && this.refuses === undefined) this.#startLater(command);
  }

  #answerTo({ id, act }: Command): Answer {
    const base = { v: 1 as const, prop: this.name, id, act };
    const reason = this.refuses;
    if (reason !== undefined)
      return { ...base, outcome: 'refused', code: 'show.not-armed', reason };
    return { ...base, outcome: act === 'go' ? 'waits' : 'done' };
  }

  #startLater(go: Extract<Command, { act: 'go' }>): void {
    const { id, act, cue, atMs } = go;
    const { clock } = this.#troupe;
    clock.after(atMs - clock.nowMs(), () => {
      this.started.push({ cue, atMs: clock.nowMs() });
      this.#answer({ v: 1, prop: this.name, id, act, outcome: 'done', startedMs: atMs });
    });
  }

  #answer(answer: Answer): void {
    this.#ids.set(answer.id, answer);
    if (!this.mute) this.#troupe.toConductors(topics.answer(SHOW, this.name), write(answer));
  }
}

/** Props and conductors on one virtual clock, with a broker between them that can be cut. */
export class Troupe {
  readonly clock = new VirtualClock();
  readonly actors: Map<string, Actor>;
  readonly conductors: Conductor[] = [];
  brokerIsAway = false;
  /** What was sent, in this order. */
  readonly sent: { topic: string; command: Command }[] = [];

  constructor(...names: string[]) {
    this.actors = new Map(names.map((name) => [name, new Actor(name, this)]));
  }

  get(name: string): Actor {
    return this.actors.get(name)!;
  }

  toConductors(topic: string, payload: string): void {
    if (this.brokerIsAway) return;
    this.clock.after(WAY_MS, () => {
      for (const conductor of this.conductors) conductor.receive(topic, Buffer.from(payload));
    });
  }

  conductor(): Conductor {
    const conductor = new Conductor({
      show: SHOW,
      from: 'desk',
      clock: this.clock,
      send: (topic, payload) => this.#toProps(topic, payload),
    });
    this.conductors.push(conductor);
    conductor.connected();
    for (const actor of this.actors.values()) {
      actor.say();
      actor.askTime();
    }
    this.clock.advance(20);
    return conductor;
  }

  #toProps(topic: string, payload: string): boolean {
    if (this.brokerIsAway) return false;
    const heard = read('command', Buffer.from(payload));
    if ('wrong' in heard) return true;
    const { message } = heard;
    this.sent.push({ topic, command: message });
    for (const actor of this.actors.values())
      if ([topics.allCommand(SHOW), topics.command(SHOW, actor.name)].includes(topic))
        this.clock.after(WAY_MS, () => actor.hear(message));
    return true;
  }

  /** Moves time on by `ms`, and lets what waits for answers go on in between. */
  async run(ms: number): Promise<void> {
    for (let left = ms; left > 0; left -= 5) {
      this.clock.advance(5);
      for (let i = 0; i < 8; i++) await Promise.resolve();
    }
  }

  /** What became of a command, with time moving on. */
  async asked(conductor: Conductor, wish: Wish, props: string[], all = false, withinMs = 4000) {
    const replies = conductor.ask(wish, props, withinMs, { all });
    await this.run(withinMs + 100);
    return replies;
  }
}
