import { describe, expect, test } from 'vitest';
import type { SimulatedSense } from '../../../src/boards/board.ts';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import type { Client } from '../rig.ts';
import { makeProp, Rig, relay, servo } from '../rig.ts';

/** Servos that a hand turns: 0.02 V a degree, 1.5 V at 0 deg. */

const POINTS = [
  [0.5, -50],
  [2.5, 50],
];
const angleOf = (channel: string, input: number) => ({
  ...{ kind: 'position', board: 'meter', input, channel, calibration: POINTS },
});

class Bench {
  readonly meter = new SimDriver();
  readonly main: SimDriver;
  rig!: Rig;
  client!: Client;

  constructor() {
    const plant = { lagS: 0.06, stopsDeg: [-58, 58] as [number, number] };
    this.main = new SimDriver({ beak: plant, tail: plant, lid: plant });
  }

  /** Live; the senses of beak and tail are proven, lid has none. */
  async proven(more: Record<string, unknown> = {}): Promise<this> {
    const prop = makeProp(
      { beak: servo(), tail: servo(), lid: servo(), mist: relay() },
      {
        senses: { angle: angleOf('beak', 1), other: angleOf('tail', 2) },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
        cues: {
          nod: [
            { at: 0, move: { lid: 10 } },
            { at: 5, move: { lid: 0 } },
          ],
        },
        idle: { calm: { plays: [{ cue: 'nod', everyS: [1, 2] }] } },
        ...more,
      },
    );
    const { meter, main } = this;
    const { rig, client } = await Rig.live(prop, { drivers: { meter, main } });
    Object.assign(this, { rig, client });
    for (const to of [-20, 10, 0])
      for (const channel of ['beak', 'tail']) {
        await client.call('channel.move', { channel, to });
        await rig.run(1200);
      }
    return this;
  }

  async teach(...channels: string[]): Promise<void> {
    await this.client.call('teach.begin', { channels });
    await this.rig.run(100);
  }

  async turn(deg: number): Promise<void> {
    this.main.turnByHand({ beak: deg });
    await this.rig.run(Math.abs(deg) * 20 + 3000);
  }
}

describe('a servo that is turned by hand', () => {
  test('is limp; its mark and its limits are where it is measured', async () => {
    const bench = await new Bench().proven();
    const { rig, client } = bench;
    await bench.teach('beak');
    expect([rig.servo('beak').pulsing, rig.servo('tail').pulsing]).toEqual([false, true]);
    await bench.turn(25);
    const { deg } = await client.call('mark.capture', {
      channel: 'beak',
      mark: 'ajar',
      from: 'measured',
    });
    expect(Math.abs(deg - 25)).toBeLessThan(0.5);
    expect(rig.editor.edits.at(-1)).toEqual({
      path: ['channels', 'beak', 'marks', 'ajar'],
      value: deg,
    });
    await bench.turn(-45);
    // Outside its limits: a mark is refused, a limit is what it is for.
    const refusal = await client.refused('mark.capture', {
      channel: 'beak',
      mark: 'low',
      from: 'measured',
    });
    expect(refusal.word).toBe('capture.outside');
    const { limitsDeg } = await client.call('limits.capture', {
      channel: 'beak',
      end: 'low',
      from: 'measured',
    });
    expect(Math.abs(limitsDeg[0]! + 45)).toBeLessThan(0.5);
  });

  test('gets its pulses where it is, once hands are clear; nothing jumps', async () => {
    const bench = await new Bench().proven();
    const { rig, client } = bench;
    await bench.teach('beak', 'tail');
    await bench.turn(25);
    let fastest = 0;
    const sense = { positionDeg: 0, amps: 0, pushing: false };
    let last = 25;
    rig.afterTick = () => {
      bench.main.sense(rig.servo('beak').output, rig.clock.nowMs(), sense);
      fastest = Math.max(fastest, Math.abs(sense.positionDeg - last) / 0.005);
      last = sense.positionDeg;
    };
    await client.call('teach.end', { confirm: 'clear' });
    await rig.until(() => !rig.core.teacher.active, 20);
    expect(fastest).toBeLessThan(60);
    expect(rig.condition).toBe('live');
    const { known, pulsing, setpoint } = rig.servo('beak');
    expect([known, pulsing, rig.servo('tail').known]).toEqual([true, true, true]);
    // The check has brought it 5 deg nearer to its park position.
    expect(Math.abs(setpoint.pos - 20)).toBeLessThan(1);
    await client.call('channel.move', { channel: 'beak', to: 0 });
    await rig.run(1000);
    expect(rig.servo('beak').setpoint.pos).toBe(0);
  });

  test('meanwhile nothing else is moved, closed, started or captured by command', async () => {
    const bench = await new Bench().proven();
    const { rig, client } = bench;
    await client.call('idle.start', { idle: 'calm' });
    await bench.teach('beak');
    await rig.run(5000);
    expect([rig.core.cues.anyRunning, rig.servo('lid').setpoint.pos]).toEqual([false, 0]);
    const words = [
      await client.refused('channel.move', { channel: 'lid', to: 10 }),
      await client.refused('channel.move', { channel: 'beak', to: 10 }),
      await client.refused('channel.jog', { channel: 'lid', byDeg: 1 }),
      await client.refused('channel.switch', { channel: 'mist', on: true }),
      await client.refused('cue.run', { cue: 'nod' }),
      await client.refused('idle.start', { idle: 'calm' }),
      await client.refused('channel.identify', { channel: 'lid' }),
      await client.refused('teach.begin', { channels: ['tail'] }),
    ].map(({ word }) => word);
    expect(new Set(words)).toEqual(new Set(['teach.under-way']));
    expect((await client.refused('mark.capture', { channel: 'beak', mark: 'x' })).word).toBe(
      'capture.unknown',
    );
    const other = { channel: 'tail', mark: 'x', from: 'measured' } as const;
    expect((await client.refused('mark.capture', other)).word).toBe('teach.not-limp');
    expect(rig.servo('lid').setpoint.pos).toBe(0);
  });

  test('a cue that a trigger starts ends at once', async () => {
    const bench = await new Bench().proven();
    const { rig } = bench;
    await bench.teach('beak');
    rig.core.cues.run('nod', 'trigger', rig.core.nowS);
    await rig.run(1000);
    expect([rig.core.cues.anyRunning, rig.servo('lid').setpoint.pos]).toEqual([false, 0]);
  });

  test('is refused without a sense, without proof, and while anything moves', async () => {
    const bench = await new Bench().proven();
    const { rig, client, meter } = bench;
    const none = await client.refused('teach.begin', { channels: ['beak', 'lid'] });
    expect([none.word, none.message]).toEqual([
      'teach.not-measured',
      expect.stringContaining('no sense measures its angle'),
    ]);
    expect(rig.servo('beak').pulsing).toBe(true);
    await client.call('channel.move', { channel: 'lid', to: 30 });
    expect((await client.refused('teach.begin', { channels: ['beak'] })).word).toBe('teach.moving');
    await rig.run(1500);
    meter.simulateSenses({ angle: { gone: true } });
    await rig.run(2000);
    meter.simulateSenses({ angle: null });
    await rig.run(3000);
    const unproven = await client.refused('teach.begin', { channels: ['beak'] });
    expect(unproven.message).toContain(
      'has not shown yet that it follows; move beak to two or three angles, 15 deg',
    );
  });

  test.each([0, 1, 2] as const)(
    'a stop of category %d: it stays limp, and is unknown',
    async (category) => {
      const bench = await new Bench().proven();
      const { rig, client } = bench;
      await bench.teach('beak');
      await bench.turn(25);
      await client.call('stop', { category });
      await rig.run(3000);
      expect([rig.condition, rig.servo('beak').pulsing, rig.core.teacher.active]).toEqual([
        'stopped',
        false,
        false,
      ]);
      await client.call('reset');
      await rig.run(100);
      expect((await client.refused('wake', {})).values.servos).toContain('beak');
    },
  );

  test('a park, a lost link and a lockout do what they do; the limp servo stays limp', async () => {
    for (const how of ['park', 'lost', 'lockout'] as const) {
      const bench = await new Bench().proven();
      const { rig, client } = bench;
      await client.call('channel.move', { channel: 'lid', to: 30 });
      await rig.run(1500);
      await bench.teach('beak');
      await bench.turn(25);
      if (how === 'park') await client.call('park');
      if (how === 'lost') client.silent = true;
      if (how === 'lockout') await rig.client('other').call('lockout.set', {});
      await rig.until(() => rig.condition === (how === 'lockout' ? 'stopped' : 'parked'), 20);
      await rig.tick();
      expect([rig.servo('beak').pulsing, rig.servo('beak').known]).toEqual([false, false]);
      if (how !== 'lockout') expect(rig.servo('lid').setpoint.pos).toBe(0);
      expect(rig.core.teacher.active).toBe(false);
    }
  });

  test('outside its limits at the end, or in motion: it stays limp, and says why', async () => {
    const bench = await new Bench().proven();
    const { rig, client } = bench;
    await bench.teach('beak');
    await bench.turn(50);
    expect((await client.refused('teach.end', { confirm: 'clear' })).word).toBe('teach.outside');
    bench.main.turnByHand({ beak: 0 });
    await rig.run(300);
    const moving = await client.refused('teach.end', { confirm: 'clear' });
    expect(moving.message).toContain('not steady; hold beak still');
    expect(rig.servo('beak').pulsing).toBe(false);
    await rig.run(3000);
    let condition = '';
    void client.call('teach.end', { confirm: 'clear', wait: true }).then((shown) => {
      condition = shown.condition;
    });
    await rig.until(() => condition !== '', 20);
    expect([condition, rig.servo('beak').pulsing]).toEqual(['live', true]);
  });

  test.each<[string, SimulatedSense]>([
    ['is gone', { gone: true }],
    ['is no number', { nan: true }],
    ['sticks', { stuck: true }],
    ['is out of range', { value: 3.2 }],
    ['answers for another', { as: 'other' }],
    ['is noisy', { noise: 0.2 }],
  ])(
    'a sensor that %s while a hand turns it: nothing is captured, and it gets no pulses',
    async (_how, lie) => {
      const bench = await new Bench().proven();
      const { rig, client } = bench;
      await bench.teach('beak');
      await bench.turn(38);
      bench.meter.simulateSenses({ angle: lie });
      await rig.run(7000);
      const measured = { channel: 'beak', mark: 'x', from: 'measured' } as const;
      const refusal = await client.refused('mark.capture', measured);
      expect(refusal.word).toBe('teach.not-measured');
      expect((await client.refused('teach.end', { confirm: 'clear' })).word).toBe(
        'teach.not-measured',
      );
      expect([rig.servo('beak').pulsing, rig.condition]).toEqual([false, 'live']);
      await client.call('park');
      await rig.until(() => rig.condition === 'parked', 20);
      expect(rig.servo('beak').pulsing).toBe(false);
    },
  );

  test('one whose sense does not follow once it has its pulses: the prop parks', async () => {
    const bench = await new Bench().proven();
    const { rig, client } = bench;
    await bench.teach('beak');
    await bench.turn(25);
    await client.call('teach.end', { confirm: 'clear' });
    await rig.until(() => rig.servo('beak').pulsing, 5);
    bench.meter.simulateSenses({ angle: { stuck: true } });
    await rig.until(() => rig.condition === 'parked', 20);
    expect(rig.texts('sense').at(-1)).toContain('is not to be trusted');
    expect(rig.servo('beak').setpoint.pos).toBe(0);
  });

  test('a stop, a park and a lockout while they get their pulses again', async () => {
    for (const how of ['stop', 'park', 'lockout'] as const) {
      const bench = await new Bench().proven();
      const { rig, client } = bench;
      await bench.teach('beak', 'tail');
      await bench.turn(25);
      await client.call('teach.end', { confirm: 'clear' });
      await rig.until(() => rig.servo('beak').moving, 5);
      if (how === 'stop') await client.call('stop', { category: 0 });
      if (how === 'park') await client.call('park');
      if (how === 'lockout') await client.call('lockout.set', {});
      await rig.until(() => rig.condition === (how === 'park' ? 'parked' : 'stopped'), 20);
      await rig.run(2000);
      expect([rig.servo('tail').pulsing, rig.core.teacher.active]).toEqual([false, false]);
      if (how !== 'park') expect(rig.servo('beak').pulsing).toBe(false);
    }
  });

  test('a guard that breaks while its sense is checked stops the small move', async () => {
    const bench = await new Bench().proven({
      guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
    });
    const { rig, client } = bench;
    await bench.teach('beak');
    await bench.turn(25);
    await client.call('teach.end', { confirm: 'clear' });
    await rig.until(() => rig.servo('beak').moving, 10);
    await rig.run(100);
    bench.main.simulate({ 20: 1 }, undefined);
    await rig.run(20);
    const { pos } = rig.servo('beak').setpoint;
    await rig.run(2000);
    expect(rig.core.safety.guards).toHaveLength(1);
    // What it needs to decelerate, of a move by 5 deg.
    expect(Math.abs(rig.servo('beak').setpoint.pos - pos)).toBeLessThan(0.5);
  });

  test('a voltage that is low, or a sense that says so, parks nothing while a hand is in', async () => {
    const bench = await new Bench().proven({
      rails: { six: { volts: 6, limitA: 10 } },
      senses: {
        angle: angleOf('beak', 1),
        other: angleOf('tail', 2),
        supply: { kind: 'volts', board: 'meter', rail: 'six', parkBelow: 5.2 },
      },
    });
    const { rig, client } = bench;
    await client.call('channel.move', { channel: 'lid', to: 20 });
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(1000);
    await bench.teach('beak');
    await bench.turn(25);
    bench.meter.simulateSenses({ supply: { value: 4 } });
    await rig.run(10_000);
    expect([rig.condition, rig.servo('lid').setpoint.pos]).toEqual(['live', 20]);
    expect(rig.core.body.relays.map(({ on }) => on)).toEqual([false]);
    expect(rig.texts('sense').filter((text) => text.includes('hand turns'))).toEqual([
      'supply is at 4.00 V, and the prop rests below 5.20 V: relays open; it parks once no hand turns a servo',
    ]);
    await client.call('teach.end', { confirm: 'clear' });
    await rig.until(() => !rig.core.teacher.active, 20);
    await rig.run(1500);
    expect(rig.condition).toBe('live');
    await rig.until(() => rig.condition === 'parked', 10);
    expect(rig.servo('lid').setpoint.pos).toBe(0);
    expect(rig.texts('condition').findLast((text) => text.startsWith('parking'))).toContain(
      'supply is at 4.00 V',
    );
  });
});
