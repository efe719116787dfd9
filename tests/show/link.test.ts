import { describe, expect, it } from 'vitest';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Link } from '../../src/show/link.ts';
import type { Facts, FromLink, PropState } from '../../src/show/protocol.ts';
import {
  type Answer,
  answerAsk,
  type Command,
  MESSAGE_LIMIT_BYTES,
  read,
  STATUS_EVERY_MS,
  type Status,
  topics,
  write,
} from '../../src/show/wire.ts';
import { seeded } from '../../src/sums/random.ts';

/** A tick of the core (ms). */
const TICK_MS = 5;
const CLOCK = 'clock-of-desk';

const facts = (prop: string, over: Partial<Facts['show']> = {}): Facts => ({
  show: {
    ...{ name: 'foyer', prop, groups: ['birds'], broker: { url: 'mqtt://127.0.0.1' } },
    ...{ whenBrokerLost: 'finish', maxUncertaintyMs: 10, parkAfterS: 30 },
    ...over,
  },
  name: 'An owl',
  file: 'v1',
  cues: ['wake', 'nod'],
});

const STATE: PropState = {
  ...{ condition: 'live', cause: null, armed: true, armedBy: 'tablet', holder: null },
  ...{ lockout: false, runs: [], waits: 0, battery: null, problems: [] },
  wear: { travelDeg: 1234, onH: 5.6, due: 0 },
};

interface Weather {
  /** How long a message takes (ms). */
  delayMs: () => number;
  /** The prop's clock runs by so much faster (ppm), and is ahead by so much (ms). */
  ppm: number;
  aheadMs: number;
}

/** One prop behind a network, with its own clock, and a core that starts what it is told to in its ticks. */
class Prop {
  readonly link: Link;
  readonly toCore: FromLink[] = [];
  readonly sent: { topic: string; text: string; retain: boolean }[] = [];
  readonly started = new Map<string, number>();
  takes = true;
  readonly #air: Air;
  readonly #weather: Weather;
  /** When its core ticks, on its own clock (ms). */
  readonly #phaseMs: number;

  constructor(air: Air, name: string, weather: Weather, over?: Partial<Facts['show']>) {
    this.#air = air;
    this.#weather = weather;
    this.#phaseMs = TICK_MS * air.random();
    this.link = new Link({
      facts: facts(name, over),
      version: '0.1.0',
      clock: {
        nowMs: () => this.own(air.clock.nowMs()),
        after: (ms, wake) => air.clock.after(ms / (1 + weather.ppm / 1e6), wake),
      },
      random: air.random,
      wire: {
        send: (topic, text, retain) => {
          if (!this.takes) return false;
          this.sent.push({ topic, text, retain });
          air.clock.after(weather.delayMs(), () => air.heard(topic, text));
          return true;
        },
      },
      toCore: (message) => this.#core(message),
    });
    air.props.push(this);
  }

  own(trueMs: number): number {
    return 1e6 + trueMs * (1 + this.#weather.ppm / 1e6) + this.#weather.aheadMs;
  }

  true(ownMs: number): number {
    return (ownMs - 1e6 - this.#weather.aheadMs) / (1 + this.#weather.ppm / 1e6);
  }

  receive(topic: string, text: string, retained = false): void {
    const payload = new TextEncoder().encode(text);
    this.#air.clock.after(this.#weather.delayMs(), () =>
      this.link.receive(topic, payload, retained),
    );
  }

  readonly #starts = new Map<string, number>();

  #core(message: FromLink): void {
    this.toCore.push(message);
    if (message.t === 'go') this.link.hear({ t: 'answer', id: message.id, outcome: 'waits' });
    if (message.t === 'go' || message.t === 'retime') this.#startAt(message.id, message.startMs);
    if (message.t === 'void') this.#starts.delete(message.id);
  }

  #startAt(id: string, startMs: number): void {
    this.#starts.set(id, startMs);
    // The first tick that is not before it.
    const tick = Math.ceil((startMs - this.#phaseMs) / TICK_MS) * TICK_MS + this.#phaseMs;
    this.#air.clock.after(this.true(tick) - this.#air.clock.nowMs(), () => {
      if (this.#starts.get(id) !== startMs) return;
      this.#starts.delete(id);
      this.started.set(id, this.#air.clock.nowMs());
      this.link.hear({ t: 'answer', id, outcome: 'done', startedMs: tick });
    });
  }

  /** @param which words of those that are meant */
  says<T>(kind: 'answer' | 'status', which = ''): T[] {
    return this.sent
      .filter(({ topic, text }) => topic.endsWith(`/${kind}`) && text.includes(which))
      .map(({ text }) => {
        const said = read(kind, new TextEncoder().encode(text));
        if ('wrong' in said) throw new Error(`${said.wrong}: ${text}`);
        return said.message as T;
      });
  }
}

/** The broker and the conductor, in virtual time. */
class Air {
  readonly clock = new VirtualClock();
  readonly props: Prop[] = [];
  readonly random = seeded(20);
  readonly heardIds = new Set<string>();
  #id = 0;
  /** The conductor hears and answers. */
  present = true;
  backMs = () => 1;

  get nowMs(): number {
    return 5e6 + this.clock.nowMs();
  }

  heard(topic: string, text: string): void {
    if (topic !== topics.ask('foyer') || !this.present) return;
    const asked = read('ask', new TextEncoder().encode(text));
    if ('wrong' in asked) throw new Error(asked.wrong);
    const { message } = asked;
    const one = this.props.find(
      ({ link }) => link.clockTopics[0] === topics.time('foyer', message.prop),
    );
    const t2 = this.nowMs;
    this.clock.after(this.backMs(), () =>
      one?.receive(
        topics.time('foyer', message.prop),
        write(answerAsk(message, CLOCK, t2, this.nowMs)),
      ),
    );
  }

  base() {
    return {
      v: 1,
      id: `command-${++this.#id}`,
      from: 'desk',
      clock: CLOCK,
      sentMs: this.nowMs,
      voidAfterMs: 5000,
    } as const;
  }

  go(inMs: number, over: Partial<Command> = {}): Command {
    return { ...this.base(), act: 'go', cue: 'wake', atMs: this.nowMs + inMs, ...over } as Command;
  }
}

function one(over?: Partial<Facts['show']>, weather: Partial<Weather> = {}) {
  const air = new Air();
  const prop = new Prop(air, 'owl', { delayMs: () => 1, ppm: 0, aheadMs: 0, ...weather }, over);
  prop.link.connected();
  prop.link.hear({ t: 'state', state: STATE });
  air.clock.advance(2000);
  const topic = topics.command('foyer', 'owl');
  return {
    air,
    prop,
    send: (command: Command, retained = false) => {
      prop.receive(topic, write(command), retained);
      air.clock.advance(10);
      return command.id;
    },
    raw: (text: string) => prop.receive(topic, text),
    answer: (id: string) => prop.says<Answer>('answer').findLast((said) => said.id === id),
    goes: () => prop.toCore.filter(({ t }) => t === 'go').length,
  };
}

describe('starting together', () => {
  it('forty props, each with its own delay, jitter and drift, start within 20 ms (p99 of 50 goes)', () => {
    const air = new Air();
    const { random } = air;
    // Delays of a busy wireless network: a few ms, and now and then a hundred, each way by itself.
    const delay = () => 1 + 3 * random() + (random() < 0.15 ? 100 * random() : 0);
    for (let i = 0; i < 40; i++) {
      const weather = {
        delayMs: delay,
        ppm: 100 * (random() - 0.5),
        aheadMs: 1e5 * random(),
      };
      const prop = new Prop(air, `prop_${i}`, weather);
      prop.link.connected();
      prop.link.hear({ t: 'state', state: STATE });
    }
    air.clock.advance(3000);
    const spreads: number[] = [];
    for (let n = 0; n < 50; n++) {
      const go = air.go(5000 + 20_000 * random());
      for (const prop of air.props) prop.receive(topics.allCommand('foyer'), write(go));
      air.clock.advance(30_000);
      const starts = air.props.map((prop) => prop.started.get(go.id)!);
      expect(starts.every((at) => at !== undefined)).toBe(true);
      spreads.push(Math.max(...starts) - Math.min(...starts));
      // What a prop says of its own start is as true as it says.
      for (const [i, prop] of air.props.entries()) {
        const [said] = prop.says<Answer>('answer', `"${go.id}","act":"go","outcome":"done"`);
        const trueMs = 5e6 + starts[i]!;
        expect(Math.abs(said!.startedMs! - trueMs)).toBeLessThanOrEqual(said!.uncertaintyMs!);
      }
    }
    spreads.sort((a, b) => a - b);
    const p99 = spreads[Math.ceil(0.99 * spreads.length) - 1]!;
    expect(p99).toBeLessThan(20);
    for (const { link } of air.props) link.close();
  });

  it('a network too slow to say when is refused, before and just before the start', () => {
    let delayMs = 30;
    const { send, answer, prop, air, goes } = one({}, { delayMs: () => delayMs });
    const id = send(air.go(3000));
    air.clock.advance(100);
    expect(answer(id)).toMatchObject({ outcome: 'refused', code: 'show.uncertain' });
    expect(goes()).toBe(0);
    delayMs = 1;
    air.clock.advance(10_000);
    // Known well now; but the conductor falls silent, and a minute of drift makes it uncertain.
    const second = one({ maxUncertaintyMs: 3 });
    const go = second.air.go(50_000, { voidAfterMs: 60_000 });
    second.air.present = false;
    second.send(go);
    expect(second.goes()).toBe(1);
    second.air.clock.advance(55_000);
    expect(second.prop.toCore.at(-1)).toMatchObject({ t: 'void', id: go.id });
    expect(second.prop.started.size).toBe(0);
    prop.link.close();
  });
});

describe('a go', () => {
  it('reaches the core with the time on its own clock, and again with a better one', () => {
    const { send, prop, air } = one({}, { aheadMs: 1234, ppm: 80 });
    const go = air.go(20_000) as Extract<Command, { act: 'go' }>;
    send(go);
    air.clock.advance(30_000);
    const trueMs = go.atMs - 5e6;
    const told = prop.toCore.filter(({ t }) => t === 'go' || t === 'retime');
    expect(told).toHaveLength(2);
    for (const message of told)
      expect(Math.abs((message as { startMs: number }).startMs - prop.own(trueMs))).toBeLessThan(3);
  });

  it.each([
    ['of a clock that nobody answers for', { clock: 'clock-of-another' }, 'show.no-clock'],
    ['whose time has passed', { atMs: 5e6 }, 'show.late'],
    ['that is older than it may be', { sentMs: 5e6, voidAfterMs: 500 }, 'show.void'],
  ])('%s is refused, and the core hears nothing of it', (_what, over, code) => {
    const { send, answer, air, goes } = one();
    const id = send({ ...air.go(3000), ...over } as Command);
    expect(answer(id)).toMatchObject({ outcome: 'refused', code });
    expect(goes()).toBe(0);
  });

  it('that is retained is ignored, and the status says why', () => {
    const { send, answer, air, goes, prop } = one();
    const go = air.go(3000);
    const id = send(go, true);
    air.clock.advance(1000);
    expect([answer(id), goes()]).toEqual([undefined, 0]);
    expect(prop.says<Extract<Status, { gone: false }>>('status').at(-1)!.problems).toEqual([
      expect.stringMatching(/retained command was ignored/),
    ]);
    // It was not heeded, so the same id may still be sent as it should be.
    send(go);
    expect(goes()).toBe(1);
  });

  it('that is repeated is answered again, and done once', () => {
    const { send, air, goes, prop } = one();
    const go = air.go(3000);
    for (let i = 0; i < 5; i++) send(go);
    air.clock.advance(10_000);
    send(go);
    expect(goes()).toBe(1);
    expect(prop.started.size).toBe(1);
    expect(prop.says<Answer>('answer').at(-1)).toMatchObject({ id: go.id, outcome: 'done' });
  });

  it('is forgotten when the broker is lost: the core voids it', () => {
    const { send, air, prop } = one();
    send(air.go(30_000));
    prop.link.lost('it is gone');
    expect(prop.toCore.at(-1)).toEqual({ t: 'link', connected: false, problem: 'it is gone' });
    const told = prop.toCore.length;
    air.clock.advance(60_000);
    expect(prop.toCore.length).toBe(told);
  });
});

describe('other commands', () => {
  it('stop, lockout, park and end reach the core whatever the clocks say', () => {
    const { send, air, prop } = one();
    const old = { sentMs: 0, clock: 'clock-of-another' };
    send({ ...air.base(), ...old, act: 'stop', category: 0 });
    send({ ...air.base(), ...old, act: 'lockout', reason: 'a hand' });
    send({ ...air.base(), ...old, act: 'park' });
    send({ ...air.base(), ...old, act: 'end' });
    expect(prop.toCore.slice(-4).map(({ t }) => t)).toEqual(['stop', 'lockout', 'park', 'end']);
  });

  it('for its groups and for all are its own; those of others are not', () => {
    const { air, prop } = one();
    expect(prop.link.commandTopics).toEqual([
      'sinew/foyer/prop/owl/command',
      'sinew/foyer/group/birds/command',
      'sinew/foyer/all/command',
    ]);
    const stop = (): Command => ({ ...air.base(), act: 'stop', category: 1 });
    for (const topic of ['sinew/foyer/prop/cat/command', 'sinew/other/all/command', 'x'])
      prop.receive(topic, write(stop()));
    air.clock.advance(10);
    expect(prop.toCore.some(({ t }) => t === 'stop')).toBe(false);
    for (const topic of prop.link.commandTopics) prop.receive(topic, write(stop()));
    air.clock.advance(10);
    expect(prop.toCore.filter(({ t }) => t === 'stop')).toHaveLength(3);
  });

  it('a flood of one kind keeps no stop from its way', () => {
    const { send, air, prop } = one();
    for (let i = 0; i < 500; i++)
      prop.receive(topics.allCommand('foyer'), write({ ...air.base(), act: 'end' }));
    for (let i = 0; i < 500; i++)
      prop.receive(topics.allCommand('foyer'), write({ ...air.base(), act: 'stop', category: 2 }));
    send({ ...air.base(), act: 'stop', category: 0 });
    expect(prop.toCore.filter(({ t }) => t === 'end').length).toBeLessThan(25);
    expect(prop.toCore.filter(({ t }) => t === 'stop').length).toBeLessThan(25);
    expect(prop.toCore.at(-1)).toMatchObject({ t: 'stop', category: 0 });
  });

  it('what is not a message does nothing, whatever it is', () => {
    const { raw, air, prop } = one();
    const told = prop.toCore.length;
    for (const text of ['', '{', '[]', 'null', '{"v":1}', 'x'.repeat(MESSAGE_LIMIT_BYTES + 1)]) {
      raw(text);
      prop.receive(topics.time('foyer', 'owl'), text);
      prop.receive(topics.here('foyer'), text);
    }
    air.clock.advance(100);
    expect(prop.toCore.length).toBe(told);
  });
});

describe('clocks', () => {
  it('an answer that was not asked for changes nothing, nor one that comes again much later', () => {
    const { air, prop } = one();
    const before = prop.link.reading(CLOCK)!;
    const lie = { v: 1, clock: CLOCK, ask: 'not-asked-for', t1: 0, t2: 1, t3: 1 } as const;
    prop.receive(topics.time('foyer', 'owl'), write(lie));
    air.clock.advance(5);
    expect(prop.link.reading(CLOCK)!.offsetMs).toBeCloseTo(before.offsetMs, 6);
  });

  it('of more conductors than it keeps, those that fall silent give way', () => {
    const { air, prop } = one();
    const answerAs = (clock: string) => {
      const asked = prop.sent.findLast(({ topic }) => topic === topics.ask('foyer'))!;
      const { ask, t1 } = JSON.parse(asked.text);
      prop.receive(
        topics.time('foyer', 'owl'),
        write({ v: 1, clock, ask, t1, t2: air.nowMs, t3: air.nowMs }),
      );
      air.clock.advance(2);
    };
    const known = (clock: string) => prop.link.reading(clock) !== undefined;
    // Right after a question.
    const asked = prop.sent.length;
    while (prop.sent.slice(asked).every(({ topic }) => topic !== topics.ask('foyer')))
      air.clock.advance(50);
    for (let i = 0; i < 9; i++) answerAs(`clock-000${i}`);
    expect([known(CLOCK), known('clock-0002'), known('clock-0003')]).toEqual([true, true, false]);
    air.clock.advance(40_000);
    const again = prop.sent.length;
    while (prop.sent.slice(again).every(({ topic }) => topic !== topics.ask('foyer')))
      air.clock.advance(50);
    answerAs('clock-0009');
    expect([known(CLOCK), known('clock-0000'), known('clock-0009')]).toEqual([true, false, true]);
  });

  it('a conductor that says that it is there is measured at once', () => {
    const air = new Air();
    air.present = false;
    const prop = new Prop(air, 'owl', { delayMs: () => 1, ppm: 0, aheadMs: 0 });
    prop.link.connected();
    air.clock.advance(20_000);
    air.present = true;
    prop.receive(topics.here('foyer'), write({ v: 1, clock: CLOCK, from: 'desk' }));
    air.clock.advance(1600);
    expect(prop.link.reading(CLOCK)!.uncertaintyMs).toBeLessThan(3);
    const asks = () => prop.sent.filter(({ topic }) => topic === topics.ask('foyer')).length;
    const before = asks();
    // Known already: it may say so as often as it likes.
    for (let i = 0; i < 100; i++)
      prop.receive(topics.here('foyer'), write({ v: 1, clock: CLOCK, from: 'desk' }));
    air.clock.advance(4000);
    expect(asks() - before).toBeLessThan(3);
  });
});

describe('the status', () => {
  it('is retained, at most four a second however much changes, and at least every half minute', () => {
    const { air, prop } = one();
    const count = () => prop.says('status').length;
    const before = count();
    for (let i = 0; i < 1000; i++) {
      prop.link.hear({ t: 'state', state: { ...STATE, waits: i } });
      air.clock.advance(10);
    }
    expect(count() - before).toBeLessThanOrEqual(40);
    air.clock.advance(1000);
    expect(prop.says<Extract<Status, { gone: false }>>('status').at(-1)!.waits).toBe(999);
    const quiet = count();
    air.clock.advance(10 * STATUS_EVERY_MS);
    expect(count() - quiet).toBeGreaterThanOrEqual(9);
    expect(count() - quiet).toBeLessThanOrEqual(11);
    expect(prop.sent.every(({ topic, retain }) => retain === topic.endsWith('/status'))).toBe(true);
  });

  it('fits its limit with hundreds of cues with long names, and counts those left out', () => {
    const { air, prop } = one();
    const cues = Array.from({ length: 300 }, (_, i) => `c${i}`.padEnd(64, 'x'));
    prop.link.hear({ t: 'facts', facts: { ...facts('owl'), cues } });
    const problems = Array.from({ length: 16 }, () => 'x'.repeat(300));
    prop.link.hear({ t: 'state', state: { ...STATE, problems } });
    air.clock.advance(1000);
    const last = prop.says<Extract<Status, { gone: false }>>('status').at(-1)!;
    expect(last.cuesLeftOut + last.cues.length).toBe(300);
    expect(last.cues.length).toBeGreaterThan(100);
    expect(last.wear).toEqual(STATE.wear);
    // Characters of three bytes each, and six.
    for (const letter of ['\u20ac', '\u0001']) {
      const long = Array.from({ length: 16 }, () => letter.repeat(300));
      prop.link.hear({ t: 'state', state: { ...STATE, problems: long } });
      air.clock.advance(1000);
      const next = prop.says<Extract<Status, { gone: false }>>('status').at(-1)!;
      expect(next.problems[0]).toBe(long[0]);
    }
  });

  it('is sent as soon as the broker takes it; nothing piles up while it does not', () => {
    const { air, prop, send } = one();
    prop.takes = false;
    for (let i = 0; i < 30; i++) send(air.go(-1));
    prop.link.hear({ t: 'state', state: { ...STATE, waits: 7 } });
    air.clock.advance(60_000);
    prop.takes = true;
    air.clock.advance(1000);
    const last = prop.says<Extract<Status, { gone: false }>>('status').at(-1)!;
    expect(last.waits).toBe(7);
    expect(last.problems).toEqual([expect.stringMatching(/answers were lost/)]);
  });

  it('that the broker gives out once the link has ended says just that', () => {
    const { prop } = one();
    const { topic, payload } = prop.link.will;
    expect(topic).toBe(topics.status('foyer', 'owl'));
    expect(read('status', new TextEncoder().encode(payload))).toEqual({
      message: { v: 1, prop: 'owl', gone: true },
    });
  });
});
