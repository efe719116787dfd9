import { afterAll, describe, expect, test } from 'vitest';
import { FIELD } from '../../../src/shared/telemetry.ts';
import fc from '../../fast-check.ts';
import { type Act, asks, endings, mishaps, recovery, Stage } from '../programs.ts';
import { RestWatch } from '../rest-watch.ts';
import { lamp, makeProp, Rig, relay, restedAt, rgb, servo, TICK_S } from '../rig.ts';

// Whatever a client asks for, in whatever order: what leaves the pins keeps every limit.

const draw = { idleA: 0.05, movingA: 0.4, stallA: 1 };
const SPECS: Record<string, Record<string, unknown>> = {
  neck: { limitsDeg: [-5, 35], rail: 'six', draw },
  // The angle falls as the pulse grows, with a kink.
  jaw: {
    calibration: [
      [1000, 40],
      [1400, 10],
      [2000, -50],
    ],
    envelopeUs: [950, 2050],
    limitsDeg: [-33.3, 36.6],
    rail: 'six',
    draw,
  },
  tail: { limitsDeg: [-40, 40], speedDegS: 60, accelDegS2: 200, rail: 'six', draw },
  wing: {
    jerkDegS3: 6000,
    requires: [{ channel: 'tail', above: -15 }],
    park: { to: 10, then: 'release' },
    rail: 'six',
    draw,
  },
};
const SERVOS = Object.keys(SPECS);
const RAIL_LIMIT_A = 1.0;

const prop = makeProp(
  {
    ...Object.fromEntries(SERVOS.map((name) => [name, servo(SPECS[name])])),
    mist: relay({
      requires: [{ channel: 'tail', above: 20 }],
      duty: { maxOnS: 0.5, restS: 2 },
    }),
    fan: relay(),
    bell: relay({ contact: 'momentary', pulseMs: 60 }),
    glow: lamp({ fadeS: 0.3 }),
    eye: rgb(),
  },
  {
    rails: { six: { volts: 6, limitA: RAIL_LIMIT_A } },
    groups: { pair: ['neck', 'wing'], trio: ['neck', 'jaw', 'tail'] },
    poses: { all: { neck: 20, tail: 30, fan: 'on', glow: 0.7, eye: 'orange' } },
    park: { stages: [['fan'], ['neck', 'jaw']], deadlineS: 6 },
    stopInput: { board: 'main', pin: 40, normallyClosed: true, category: 1 },
  },
);

// --- what is watched at every tick ------------------------------------------------------------------

class Watch {
  ticks = 0;
  readonly #rig: Rig;
  readonly #snapshot;
  readonly #pulses = new Map<string, number[]>();
  readonly #positions = new Map<string, number[]>();
  readonly #bounds = new Map<string, { soft: [number, number]; hard: readonly [number, number] }>();
  #mistMs = 0;
  #mistOpenMs = 1e9;
  readonly #rest: RestWatch;

  constructor(rig: Rig) {
    this.#rig = rig;
    this.#rest = new RestWatch(rig);
    this.#snapshot = rig.telemetry.snapshot();
    for (const name of SERVOS) {
      const { mapping, limitsDeg, envelopeUs } = rig.servo(name);
      const ends = limitsDeg.map((deg) => mapping.toPulseUs(deg));
      this.#bounds.set(name, {
        soft: [Math.min(...ends) - 1e-9, Math.max(...ends) + 1e-9],
        hard: envelopeUs,
      });
      this.#pulses.set(name, []);
      this.#positions.set(name, []);
    }
    rig.afterTick = () => this.#look();
  }

  /** Forgets the motion so far: time has passed without ticks. */
  jumped(): void {
    for (const positions of this.#positions.values()) positions.length = 0;
    for (const pulses of this.#pulses.values()) pulses.length = 0;
  }

  #look(): void {
    this.ticks++;
    this.#rig.telemetry.read(this.#snapshot);
    for (const name of SERVOS) this.#lookAt(name);
    this.#guards();
    this.#rest.tick();
  }

  #lookAt(name: string): void {
    const one = this.#rig.servo(name);
    const pulse = this.#rig.at(name);
    const pulses = this.#pulses.get(name)!;
    const positions = this.#positions.get(name)!;
    if (pulse === 0) {
      pulses.length = 0;
      positions.length = 0;
      return;
    }
    const { soft, hard } = this.#bounds.get(name)!;
    const [low, high] = one.beyond ? hard : soft;
    if (!(pulse >= low && pulse <= high) || !Number.isInteger(pulse))
      throw new Error(`${name}: pulse ${pulse} us outside ${low} to ${high} us`);
    const position = this.#snapshot.channel(one.index, FIELD.value);
    pulses.push(pulse);
    positions.push(position);
    if (pulses.length > 4) pulses.shift();
    if (positions.length > 4) positions.shift();
    this.#motion(name, pulses, positions);
  }

  /**
   * Differences from tick to tick: a motion within speed v, acceleration a and jerk j moves by at
   * most v dt, changes that by at most a dt2, and that by at most j dt3.
   */
  #motion(name: string, pulses: readonly number[], positions: readonly number[]): void {
    const one = this.#rig.servo(name);
    const { speedDegS, accelDegS2, jerkDegS3 } = one.spec;
    const slope = name === 'jaw' ? 40 / 3 : 10;
    const steps = differences(pulses);
    const maxUs = speedDegS * TICK_S * slope + 1;
    if (steps.length > 0 && Math.abs(steps.at(-1)!) > maxUs + 1e-6)
      throw new Error(`${name}: a step of ${steps.at(-1)} us, not ${maxUs} us`);
    const vel = differences(positions);
    const acc = differences(vel);
    const jerk = differences(acc);
    within(`${name} speed`, vel, speedDegS * TICK_S);
    within(`${name} acceleration`, acc, accelDegS2 * TICK_S ** 2);
    if (jerkDegS3) within(`${name} jerk`, jerk, jerkDegS3 * TICK_S ** 3);
  }

  #guards(): void {
    const rig = this.#rig;
    const amps = rig.amps('six');
    if (amps > RAIL_LIMIT_A + 1e-9) throw new Error(`rail at ${amps} A`);
    const closed = rig.at('mist') === 1;
    if (closed && !(rig.servo('tail').setpoint.pos > 20 && rig.at('tail') !== 0))
      throw new Error('mist is on, though the tail is down');
    if (closed) {
      if (this.#mistOpenMs >= 2000) this.#mistMs = 0;
      this.#mistOpenMs = 0;
      this.#mistMs += TICK_S * 1000;
    } else this.#mistOpenMs += TICK_S * 1000;
    if (this.#mistMs > 505) throw new Error(`mist was on for ${this.#mistMs} ms`);
    if (rig.condition === 'stopped' && rig.at('fan') === 1)
      throw new Error('the fan runs in a stop');
  }
}

const differences = (values: readonly number[]) =>
  values.slice(1).map((value, i) => value - values[i]!);

function within(what: string, values: readonly number[], most: number): void {
  const last = values.at(-1);
  if (last !== undefined && Math.abs(last) > most * (1 + 1e-9) + 1e-9)
    throw new Error(`${what}: ${last} a tick, not ${most}`);
}

// --- what is asked for ------------------------------------------------------------------------------

/** Everything that leaves the pins is watched. */
class Watched extends Stage {
  readonly watch: Watch;

  constructor(rig: Rig) {
    super(rig);
    this.watch = new Watch(rig);
  }
}

const channel = fc.constantFrom(...SERVOS);
const deg = fc.oneof(
  fc.double({ min: -55, max: 55, noNaN: true }),
  fc.constantFrom(-5, 35, -40, 40, -33.3, 36.6, 0),
);
const overS = fc.option(fc.double({ min: 0, max: 1, noNaN: true }), { nil: undefined });
const wait = fc.boolean();

/** Sound values, so that most of what is asked for happens. */
const inside = fc.double({ min: -5, max: 35, noNaN: true });

const moving = fc.oneof(
  fc.record({ channel, to: deg, overS, wait }).map((p) => asks('channel.move', p)),
  fc
    .record({ channel: fc.constantFrom('tail', 'wing'), to: fc.constantFrom(-40, 40, 25) })
    .map((p) => asks('channel.move', p)),
  fc
    .record({ group: fc.constantFrom('pair', 'trio'), to: inside, overS, wait })
    .map((p) => asks('group.move', p)),
  fc
    .record({
      channel,
      byDeg: fc.double({ min: -6, max: 6, noNaN: true }),
      beyondLimits: fc.boolean(),
    })
    .map((p) => asks('channel.jog', p)),
  fc
    .constantFrom(...SERVOS, 'mist', 'fan', 'glow', 'eye')
    .map((name) => asks('channel.identify', { channel: name })),
  fc.constant(asks('pose.go', { pose: 'all' })),
);

/** To a limit, and on, step by step, with something else asked for in between. */
const feeling: fc.Arbitrary<Act> = fc
  .tuple(
    channel,
    fc.boolean(),
    fc.array(
      fc.tuple(fc.double({ min: 0.1, max: 5, noNaN: true }), fc.integer({ min: 0, max: 80 })),
      {
        minLength: 1,
        maxLength: 8,
      },
    ),
    moving,
  )
  .map(([name, high, steps, between]) => ({
    do: `feel with ${name} ${JSON.stringify(steps)}, then ${between.do}`,
    run: async (stage) => {
      const { rig } = stage;
      await rig.run(600);
      const to = rig.servo(name).limitsDeg[high ? 1 : 0];
      stage.ask('channel.move', { channel: name, to });
      await rig.run(2000);
      for (const [size, pause] of steps) {
        const byDeg = high ? size : -size;
        stage.ask('channel.jog', { channel: name, byDeg, beyondLimits: true });
        await rig.run(pause * 5);
      }
      await between.run(stage);
    },
  }));

const lit = fc.oneof(
  fc
    .record({
      channel: fc.constantFrom('mist', 'fan', 'bell'),
      on: fc.boolean(),
      forS: fc.constantFrom(undefined, 0.1, 0.4),
    })
    .map((p) => asks('channel.switch', p)),
  fc
    .record({ channel: fc.constant('glow'), to: fc.constantFrom(0, 0.3, 1) })
    .map((p) => asks('channel.dim', p)),
  fc
    .record({ channel: fc.constant('eye'), to: fc.constantFrom('red', 'white', '#000') })
    .map((p) => asks('channel.colour', p)),
);

const ending: fc.Arbitrary<Act> = fc.oneof(...endings, fc.constantFrom<Act>(...mishaps));

const act = fc.oneof(
  { weight: 12, arbitrary: moving },
  { weight: 3, arbitrary: feeling },
  { weight: 6, arbitrary: lit },
  { weight: 4, arbitrary: ending },
  { weight: 4, arbitrary: recovery },
);

const program = fc.array(fc.tuple(act, fc.integer({ min: 0, max: 60 })), {
  minLength: 10,
  maxLength: 60,
});
const known = fc.constantFrom(true, false);

let ticks = 0;

async function play(acts: readonly [Act, number][], positionsKnown: boolean): Promise<Watched> {
  const rig = await Rig.open(prop, positionsKnown ? { restored: restedAt(prop) } : {});
  const stage = new Watched(rig);
  await stage.rig.wake(stage.client);
  for (const [one, pause] of acts) {
    await one.run(stage);
    await rig.run(pause * 5);
  }
  return stage;
}

describe('random programs', () => {
  test('what leaves the pins keeps every limit; everything ends parked or stopped', async () => {
    await fc.assert(
      fc.asyncProperty(program, known, async (acts, positionsKnown) => {
        const { rig, watch, client } = await play(acts, positionsKnown);
        rig.board().level.set('stopInput', 0);
        await rig.run(1000);
        if (rig.condition === 'stopped')
          await rig
            .client('last')
            .call('park')
            .catch(() => {});
        if (rig.condition !== 'stopped') {
          await rig.client('last').call('park');
          await rig.until(() => rig.condition === 'parked' || rig.condition === 'stopped', 12);
        }
        expect(rig.texts('fault')).toEqual([]);
        // Nothing goes on afterwards, and nobody is left waiting.
        client.silent = true;
        await rig.run(1000);
        ticks += watch.ticks;
      }),
      { numRuns: 120 },
    );
  });

  test('parking by a lost link ends, from wherever it begins', async () => {
    await fc.assert(
      fc.asyncProperty(program, async (acts) => {
        const { rig, watch } = await play(acts.slice(0, 20), true);
        for (const { session } of [...rig.clients]) rig.commands.gone(session.id);
        await rig.until(() => rig.condition === 'parked' || rig.condition === 'stopped', 12);
        await rig.run(500);
        ticks += watch.ticks;
      }),
      { numRuns: 60 },
    );
  });

  afterAll(() => {
    // 100,000 ticks are more than eight minutes of show.
    expect(ticks).toBeGreaterThanOrEqual(100_000);
  });
});

test('groups start and arrive in the same tick, from whatever they were doing', async () => {
  const wide = makeProp(
    Object.fromEntries(
      SERVOS.map((name) => [
        name,
        servo({ ...SPECS[name], rail: undefined, draw: undefined, requires: undefined }),
      ]),
    ),
    { groups: { all: SERVOS } },
  );
  await fc.assert(
    fc.asyncProperty(
      fc.array(fc.tuple(channel, inside, fc.integer({ min: 0, max: 40 })), { maxLength: 6 }),
      inside,
      overS,
      async (before, to, over) => {
        const { rig, client } = await Rig.live(wide);
        for (const [name, targetDeg, pause] of before) {
          await client.call('channel.move', { channel: name, to: targetDeg });
          await rig.run(pause * 5);
        }
        const startMs = rig.clock.nowMs();
        const { durationS } = await client.call('group.move', {
          group: 'all',
          to,
          ...(over !== undefined && { overS: over }),
        });
        const moving = () => SERVOS.filter((name) => rig.servo(name).moving).length;
        // What is sent to its park position and rests there stays at rest.
        const staying = SERVOS.filter(
          (name) => rig.servo(name).atPark && rig.servo(name).homeDeg === to,
        );
        const going = SERVOS.length - staying.length;
        expect(moving()).toBe(going);
        while (moving() === going && going > 0) await rig.tick();
        expect(moving()).toBe(0);
        for (const name of SERVOS)
          if (!staying.includes(name)) expect(rig.servo(name).setpoint.pos).toBe(to);
        const tookS = (rig.clock.nowMs() - startMs) / 1000;
        expect(Math.abs(tookS - durationS)).toBeLessThanOrEqual(TICK_S + 1e-4);
      },
    ),
    { numRuns: 200 },
  );
});
