import { afterAll, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import fc from '../../fast-check.ts';
import { type Act, asks, endings, mishaps, recovery, Stage } from '../programs.ts';
import { RestWatch } from '../rest-watch.ts';
import { type Client, lamp, makeProp, Rig, relay, restedAt, rgb, servo, TICK_S } from '../rig.ts';

// Whatever cues, idle behaviours and triggers are started, stopped and interrupted, in whatever
// order: what leaves the pins keeps every limit, and nothing goes on after its end.

const draw = { idleA: 0.05, movingA: 0.4, stallA: 1 };
const RAIL_LIMIT_A = 2.2;
const JAWS = ['jaw_1', 'jaw_2', 'jaw_3'];
const TAIL = ['tail_1', 'tail_2', 'tail_3', 'tail_4'];
const RELAYS = ['mist', 'fan', 'pump', 'bell'];
/** What a relay needs (deg). */
const NEEDS: Record<string, [servo: string, aboveDeg: number]> = { mist: ['tail_1', 15] };

const prop = makeProp(
  {
    neck: servo({ limitsDeg: [-30, 30], rail: 'six', draw }),
    head: servo({ limitsDeg: [-40, 40], jerkDegS3: 6000, rail: 'six', draw }),
    wing: servo({
      speedDegS: 60,
      accelDegS2: 200,
      requires: [{ channel: 'tail_1', above: -5 }],
      rail: 'six',
      draw,
      park: { to: 5, then: 'release' },
    }),
    ...Object.fromEntries(JAWS.map((name) => [name, servo({ rail: 'six', draw })])),
    ...Object.fromEntries(
      TAIL.map((name) => [name, servo({ limitsDeg: [-10, 40], rail: 'six', draw })]),
    ),
    mist: relay({
      requires: [{ channel: 'tail_1', above: 15 }],
      rail: 'six',
      draw: { onA: 0.3 },
    }),
    fan: relay(),
    pump: relay({ duty: { maxOnS: 0.5, restS: 2 } }),
    bell: relay({ contact: 'momentary', pulseMs: 60 }),
    glow_1: lamp({ fadeS: 0.3 }),
    glow_2: lamp(),
    eye_1: rgb(),
    eye_2: rgb({ fadeS: 0.2 }),
    spot_1: lamp(),
    spot_2: lamp({ rail: 'six', draw: { fullA: 0.2 } }),
  },
  {
    rails: { six: { volts: 6, limitA: RAIL_LIMIT_A } },
    groups: { tail: TAIL, jaws: JAWS },
    poses: { alert: { neck: 20, head: -20, glow_1: 0.8, eye_1: 'orange' } },
    cues: {
      nod: [
        { at: 0, move: { neck: { around: 0, spread: 35 } }, name: 'there' },
        { after: 'there', spreadS: 0.3, move: { neck: 0 }, overS: 0.5, ease: 'ease-in-out' },
      ],
      spray: [
        { at: 0, move: { tail: 30 }, overS: 0.8 },
        { at: 0, until: { channel: 'tail_1', above: 16, withinS: 1 }, name: 'up' },
        { after: 'up', switch: { mist: 'on' }, forS: 1.5 },
        { after: 'up', at: 1, move: { tail: 0 } },
      ],
      breeze: [
        { at: 0, switch: { fan: 'on' }, forS: 1 },
        { at: 0.2, switch: { pump: 'on' }, forS: 0.8 },
        { at: 0.1, switch: { bell: 'on' } },
        { at: 0.2, cue: 'ring', times: 3 },
      ],
      ring: [{ at: 0.1, switch: { bell: 'on' }, forS: 0.05 }],
      chatter: [
        { at: 0, cue: 'bite', times: 'until stopped' },
        { at: 0, dim: { spot_1: 1, spot_2: 0.5 }, fadeS: 0.5 },
      ],
      bite: [{ at: 0.1, move: { jaws: { around: 10, spread: 20 } } }],
      show: [
        { at: 0, pose: 'alert', overS: 1, ease: 'ease-out' },
        { at: 0.3, choose: ['nod', 'blush'], times: 4, name: 'play' },
        { after: 'play', colour: { eye_2: '#00f' }, fadeS: 0.5 },
        { at: 0.5, move: { wing: 30 }, ease: 'ease' },
      ],
      blush: [
        { at: 0, colour: { eye_1: 'red', eye_2: 'red' }, fadeS: 0.3, ease: 'steps(4)' },
        { at: 0.4, dim: { glow_1: 0, glow_2: 1 }, fadeS: 0.2 },
      ],
      startle: {
        clash: 'take over',
        steps: [
          { at: 0, move: { neck: 28, wing: 30, jaws: -10 } },
          { at: 0, switch: { fan: 'on', mist: 'off' }, forS: 0.4 },
        ],
      },
      vain: [
        { at: 0, move: { head: 20 }, overS: 2 },
        { at: 0, until: { channel: 'jaw_1', above: 39, withinS: 0.5, otherwise: 'park' } },
        { at: 0.5, switch: { fan: 'on' }, forS: 1 },
        { at: 0.5, move: { jaw_2: 10 } },
      ],
    },
    idle: {
      calm: {
        plays: [
          { cue: 'nod', everyS: [0.3, 1] },
          { cue: 'blush', everyS: [0.5, 2] },
          { cue: 'ring', everyS: [0.4, 3] },
        ],
      },
      busy: { seed: 9, plays: [{ cue: 'breeze', everyS: [0.2, 1] }] },
    },
    triggers: {
      door: { input: { board: 'main', pin: 60, debounceMs: 10 }, cue: 'nod', unattended: true },
      call: { osc: '/call', cue: 'spray', unattended: true },
      tame: { osc: '/tame', cue: 'breeze' },
    },
    osc: { port: 9000, perform: { '/head': { channel: 'head' } } },
    stopInput: { board: 'main', pin: 61, normallyClosed: true, category: 1 },
    park: { stages: [], deadlineS: 6 },
  },
);
const CUES = Object.keys(prop.cues);
const SERVOS = Object.entries(prop.channels)
  .filter(([, { kind }]) => kind === 'servo')
  .map(([name]) => name);

// --- what is watched at every tick ------------------------------------------------------------------

class Watch {
  ticks = 0;
  readonly #rig: Rig;
  readonly #before = new Map<string, { pos: number; vel: number }>();
  readonly #abandonedTicks = new Map<string, number>();
  readonly #rest: RestWatch;

  constructor(rig: Rig) {
    this.#rig = rig;
    this.#rest = new RestWatch(rig);
    rig.afterTick = () => this.#look();
  }

  #look(): void {
    const rig = this.#rig;
    this.ticks++;
    for (const name of SERVOS) this.#servo(name);
    for (const name of RELAYS) this.#relay(name);
    const amps = rig.amps('six');
    if (amps > RAIL_LIMIT_A + 1e-9) throw new Error(`rail at ${amps} A`);
    if (rig.condition !== 'live' && rig.core.cues.anyRunning)
      throw new Error(`a cue runs in ${rig.condition}`);
    if (rig.condition !== 'live' && rig.core.idle.running)
      throw new Error(`the idle behaviour runs in ${rig.condition}`);
    this.#rest.tick();
  }

  #servo(name: string): void {
    const one = this.#rig.servo(name);
    const pulse = this.#rig.at(name);
    const before = this.#before.get(name);
    if (pulse === 0) {
      this.#before.delete(name);
      return;
    }
    const { pos } = one.setpoint;
    const [low, high] = one.limitsDeg;
    if (pulse < 1500 + 10 * low - 1e-9 || pulse > 1500 + 10 * high + 1e-9)
      throw new Error(`${name}: pulse ${pulse} us outside its limits`);
    const { speedDegS, accelDegS2 } = one.spec;
    const vel = before ? pos - before.pos : 0;
    if (before && Math.abs(vel) > speedDegS * TICK_S + 1e-9)
      throw new Error(`${name}: ${vel} deg in a tick`);
    if (before && Math.abs(vel - before.vel) > accelDegS2 * TICK_S ** 2 * (1 + 1e-9) + 1e-9)
      throw new Error(`${name}: changes by ${vel - before.vel} deg a tick in a tick`);
    this.#before.set(name, { pos, vel });
  }

  #relay(name: string): void {
    const rig = this.#rig;
    const closed = rig.at(name) === 1;
    const relay = rig.core.body.relay(name);
    if (closed !== relay.closed) throw new Error(`${name}: ${closed} on its pin`);
    // A contact may wait a moment, but nothing closes that nobody has asked for.
    if (closed && !relay.on && !relay.lingers) throw new Error(`${name}: closed by nobody`);
    const needs = NEEDS[name];
    if (closed && needs && !(rig.servo(needs[0]).setpoint.pos > needs[1] && rig.at(needs[0]) !== 0))
      throw new Error(`${name} is closed though ${needs[0]} is down`);
    if (closed && rig.condition === 'stopped') throw new Error(`${name} is closed in a stop`);
    // No cue leaves a relay closed at its own end, and nobody closes one by hand.
    const abandoned = closed && !relay.lingers && rig.core.cues.using([relay]).length === 0;
    const ticks = abandoned ? (this.#abandonedTicks.get(name) ?? 0) + 1 : 0;
    this.#abandonedTicks.set(name, ticks);
    if (ticks > 2) throw new Error(`${name} is closed though its cue is gone`);
  }
}

// --- what is asked for ------------------------------------------------------------------------------

/** A guest looks on, who never has the lease, and everything is watched. */
class Hall extends Stage {
  readonly watch: Watch;
  readonly guest: Client;

  constructor(rig: Rig) {
    super(rig);
    this.watch = new Watch(rig);
    this.guest = rig.client('guest');
  }
}

const cue = fc.constantFrom(...CUES);
/** From a time in it, slower, in a loop. */
const passage = fc
  .record({
    cue,
    fromS: fc.constantFrom(0, 0.15, 0.5, 1, 2.3),
    rate: fc.constantFrom(0.25, 0.6, 1),
    loop: fc.boolean(),
  })
  .map((p) => asks('cue.run', p));
const running = fc.oneof(
  fc.record({ cue, wait: fc.boolean() }).map((p) => asks('cue.run', p)),
  passage,
  cue.map((name) => asks('cue.stop', { cue: name })),
);
const byHand = fc.oneof(
  fc
    .record({
      channel: fc.constantFrom(...SERVOS),
      to: fc.double({ min: -9, max: 29, noNaN: true }),
    })
    .map((p) => asks('channel.move', p)),
  fc.constantFrom(...RELAYS).map((channel) => asks('channel.switch', { channel, on: false })),
  fc.constant(asks('pose.go', { pose: 'alert', overS: 0.4 })),
  fc.constant(asks('channel.dim', { channel: 'glow_2', to: 0.5, fadeS: 0.1 })),
  fc
    .dictionary(fc.constantFrom(...SERVOS), fc.double({ min: -9, max: 29, noNaN: true }))
    .map((targets) => asks('channel.perform', { targets })),
  fc.constantFrom(0, 0.4, 1, 2, null).map((value) => ({
    do: `OSC says ${value}`,
    run: ({ rig }: Hall) => rig.core.osc.hear({ '/head': value }),
  })),
);
const alone = fc.oneof(
  fc.constantFrom('calm', 'busy').map((idle) => asks('idle.start', { idle })),
  fc.constant(asks('idle.stop')),
  fc.boolean().map((armed) => asks('trigger.arm', { armed })),
  fc.constantFrom('/call', '/tame').map((address) => ({
    do: address,
    run: ({ rig }: Hall) => rig.core.triggers.osc(address),
  })),
  fc.constant({
    do: 'the door opens and shuts',
    run: async ({ rig }: Hall) => {
      rig.board().level.set('door', 0);
      await rig.run(50);
      rig.board().level.set('door', 1);
    },
  }),
);
const ending: fc.Arbitrary<Act<Hall>> = fc.oneof(
  ...endings,
  fc.constantFrom<Act<Hall>>(...mishaps, {
    do: 'a guest asks',
    run: async ({ guest, rig }) => {
      const { length } = rig.entries;
      const refusal = await guest.refused('cue.run', { cue: 'nod' });
      expect(refusal.code).toBe(CODES.notHolder);
      expect(rig.entries.slice(length).map(({ what }) => what)).toEqual(['refused']);
    },
  }),
);
const act = fc.oneof(
  { weight: 12, arbitrary: running },
  { weight: 3, arbitrary: byHand },
  { weight: 5, arbitrary: alone },
  { weight: 3, arbitrary: ending },
  { weight: 3, arbitrary: recovery },
);
const program = fc.array(fc.tuple(act, fc.integer({ min: 0, max: 150 })), {
  minLength: 10,
  maxLength: 50,
});

let ticks = 0;
const seen = new Map<string, number>();

async function play(acts: readonly [Act<Hall>, number][]): Promise<Hall> {
  const rig = await Rig.open(prop, { restored: restedAt(prop) });
  const stage = new Hall(rig);
  rig.core.triggers.begin();
  await rig.wake(stage.client);
  for (const [one, pause] of acts) {
    await one.run(stage);
    await rig.run(pause * 5);
  }
  return stage;
}

test('random programs of cues: every limit holds, and nothing goes on after its end', async () => {
  await fc.assert(
    fc.asyncProperty(program, async (acts) => {
      const { rig, watch, client } = await play(acts);
      expect(rig.texts('fault')).toEqual([]);
      rig.board().level.set('stopInput', 0);
      // Whoever commands goes away; a trigger that is at work brings its cue to an end.
      for (const { session } of [...rig.clients]) rig.commands.gone(session.id);
      client.silent = true;
      await rig.until(() => rig.condition === 'parked' || rig.condition === 'stopped', 30);
      await rig.run(3000);
      // In a stop of category 2, lights come to the end of their fade.
      const { lights } = rig.core.body;
      await rig.until(() => !lights.some((one) => one.fading || one.flashHeld), 10);
      await rig.tick();
      const { length } = rig.writes;
      await rig.run(10_000);
      expect(rig.writes.slice(length)).toEqual([]);
      for (const name of RELAYS) expect(rig.on(name)).toBe(false);
      expect(rig.core.lease.holder).toBeUndefined();
      ticks += watch.ticks;
      for (const { what } of rig.entries) seen.set(what, (seen.get(what) ?? 0) + 1);
    }),
    { numRuns: 60 },
  );
});

afterAll(() => {
  expect(Object.keys(prop.channels)).toHaveLength(20);
  expect(ticks).toBeGreaterThanOrEqual(100_000);
  // The programs do reach what they are about.
  for (const what of [
    'cue',
    'channel.perform',
    'delayed',
    'duty',
    'refused',
    'park',
    'link lost',
    'stop',
  ])
    expect(seen.get(what), what).toBeGreaterThan(0);
});
