import { describe, expect, test } from 'vitest';
import type { Driver, Reading, SenseSpec } from '../../src/boards/board.ts';
import { SENSE_AT, type Sense } from '../../src/core/senses.ts';
import type { Prop } from '../../src/prop/schema.ts';
import { makeProp, Recorder, Rig, relay, restedAt, servo, settle, TICK_MS } from './rig.ts';

/** A board that measures what the test says, and counts what is asked of it. */
class Meter implements Driver {
  readonly pulseStepUs = 1;
  specs: readonly SenseSpec[] = [];
  /** By the name of the sense: A or V; undefined answers nothing new. */
  readonly now = new Map<string, number | undefined>();
  readonly faults = new Map<string, string>();
  readonly #last = new Map<string, { value: number; atMs: number }>();
  failing: { open?: Error; check?: Error; reading?: Error; close?: Error; senses?: Error } = {};
  /** Added to the time of each reading (ms). */
  skewMs = 0;
  /** Time from one reading to the next (ms). */
  everyMs = 0;

  async open(): Promise<void> {
    if (this.failing.open) throw this.failing.open;
  }
  async openSenses(specs: readonly SenseSpec[]): Promise<void> {
    this.specs = specs;
    if (this.failing.senses) throw this.failing.senses;
  }
  write(): void {}
  check(): void {
    if (this.failing.check) throw this.failing.check;
  }
  read(): 0 | 1 {
    return 0;
  }
  reading(index: number, nowMs: number, into: Reading): void {
    if (this.failing.reading) throw this.failing.reading;
    const { name } = this.specs[index]!;
    const value = this.now.get(name);
    const due = nowMs >= (this.#last.get(name)?.atMs ?? Number.NEGATIVE_INFINITY) + this.everyMs;
    if (value !== undefined && due) this.#last.set(name, { value, atMs: nowMs + this.skewMs });
    const last = this.#last.get(name);
    into.value = last?.value ?? Number.NaN;
    into.atMs = last?.atMs ?? Number.NEGATIVE_INFINITY;
    into.fault = this.faults.get(name);
    if (into.fault !== undefined) into.value = Number.NaN;
  }
  async close(): Promise<void> {
    if (this.failing.close) throw this.failing.close;
  }
}

const SUPPLY = { kind: 'volts', board: 'meter', rail: 'six', warnBelow: 5.5, parkBelow: 5.2 };
const RAILS = { six: { volts: 6, limitA: 10 } };

function prop(senses: Record<string, unknown> = { supply: SUPPLY }): Prop {
  return makeProp(
    { beak: servo({ rail: 'six' }), tail: servo({ rail: 'six' }), mist: relay() },
    {
      ...{ rails: RAILS, senses, park: { stages: [['mist'], ['beak', 'tail']] } },
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
    },
  );
}

async function live(senses?: Record<string, unknown>, volts = 6) {
  const meter = new Meter();
  meter.now.set('supply', volts);
  const { rig, client } = await Rig.live(prop(senses), {
    drivers: { meter, main: new Recorder() },
  });
  const sense = (name = 'supply'): Sense => rig.core.body.senses.find(name)!;
  const value = (name = 'supply') => rig.core.body.senses.valueOf(sense(name));
  const notes = () => (rig.core.safety.senses ?? []).map(({ what, text }) => `${what}: ${text}`);
  return { rig, client, meter, sense, value, notes };
}

describe('what is measured', () => {
  test('a reading becomes a value by its scale, and is shown with its rail', async () => {
    const { rig, meter, value } = await live({
      supply: { ...SUPPLY, board: 'meter', input: 0, divider: [10_000, 10_000] },
      draw: { kind: 'current', board: 'meter', rail: 'six', offset: 0.1 },
      angle: {
        ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
        calibration: [
          [0.5, -40],
          [2.5, 40],
        ],
      },
      light: {
        ...{ kind: 'level', board: 'meter', input: 2 },
        calibration: [
          [0, 0],
          [2, 1],
        ],
      },
    });
    meter.now.set('supply', 2.9).set('draw', 1.2).set('angle', 1.75).set('light', 3);
    await rig.run(100);
    expect(value()).toBeCloseTo(5.8, 9);
    expect(value('angle')).toBeCloseTo(10, 9);
    // As full as it can be, beyond its last point.
    expect(value('light')).toBe(1);
    const [rail] = rig.core.body.rails;
    expect([rail!.measuredA, rail!.measuredV]).toEqual([1.3, 5.8]);
    expect(rig.servo('beak').measuredDeg).toBeCloseTo(10, 9);
    expect(rig.servo('tail').measuredDeg).toBeNaN();
    // The estimate stays the estimate.
    expect(rail!.amps).not.toBe(1.3);
    expect(meter.specs.map(({ name, quantity, input }) => [name, quantity, input])).toEqual([
      ['supply', 'volts', 0],
      ['draw', 'current', 0],
      ['angle', 'volts', 1],
      ['light', 'volts', 2],
    ]);
  });

  // A first-order low pass reaches 1 - exp(-t / T) of a step after t (any textbook).
  test('the filter is a first-order low pass, whatever the pace of the readings', async () => {
    for (const everyMs of [20, 100]) {
      const { rig, meter, value } = await live({ supply: { ...SUPPLY, filterS: 0.5 } });
      meter.everyMs = everyMs;
      await rig.run(200);
      meter.now.set('supply', 5.8);
      const fromMs = rig.clock.nowMs();
      await rig.run(500);
      // The first of the new readings comes up to one step later than the change.
      const low = 5.8 + 0.2 * Math.exp(-(rig.clock.nowMs() - fromMs + everyMs) / 500);
      const high = 5.8 + 0.2 * Math.exp(-(rig.clock.nowMs() - fromMs - everyMs) / 500);
      expect(value()).toBeGreaterThan(low - 1e-9);
      expect(value()).toBeLessThan(high + 1e-9);
    }
  });

  test('a contact: open or closed, with a warning', async () => {
    const senses = { lid: { kind: 'contact', board: 'main', pin: 30, warnWhen: 'open' } };
    const { rig, value, notes } = await live(senses);
    const { level } = rig.board();
    level.set('sense lid', 0);
    await rig.run(1000);
    expect([value('lid'), notes()]).toEqual([1, []]);
    level.set('sense lid', 1);
    await rig.run(1000);
    expect([value('lid'), notes()]).toEqual([0, ['warning: lid is open']]);
    level.set('sense lid', 0);
    await rig.run(1000);
    expect(notes()).toEqual([]);
    expect(rig.texts('sense')).toEqual(['lid is open', 'lid is closed']);
    expect(rig.condition).toBe('live');
  });
});

describe('limits', () => {
  test('a warning has a time and a hysteresis, and moves nothing', async () => {
    const { rig, meter, notes } = await live();
    meter.now.set('supply', 5.4);
    await rig.run(400);
    expect(notes()).toEqual([]);
    await rig.run(200);
    expect(notes()).toEqual(['warning: supply is below 5.50 V']);
    // Back above the limit, but not by 3 % of it.
    meter.now.set('supply', 5.6);
    await rig.run(2000);
    expect(notes()).toHaveLength(1);
    meter.now.set('supply', 5.7);
    await rig.run(600);
    expect(notes()).toEqual([]);
    expect(rig.texts('sense')).toEqual([
      'supply is below 5.50 V',
      'supply is no longer below 5.50 V',
    ]);
    expect(rig.condition).toBe('live');
  });

  test('one wrong reading does nothing, however low it is and however long it stands', async () => {
    const { rig, meter, notes } = await live({ supply: { ...SUPPLY, staleS: 10 } });
    meter.now.set('supply', 0);
    await rig.run(TICK_MS * 4);
    meter.now.set('supply', undefined);
    await rig.run(3000);
    expect([rig.condition, notes()]).toEqual(['live', []]);
    meter.now.set('supply', 6);
    await rig.run(1000);
    expect(rig.condition).toBe('live');
  });

  test('below parkBelow for forS the prop parks, relays first, and says why', async () => {
    const { rig, client, meter } = await live();
    await client.call('channel.switch', { channel: 'mist', on: true });
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await rig.run(200);
    meter.now.set('supply', 4.9);
    await rig.run(450);
    expect(rig.condition).toBe('live');
    await rig.until(() => rig.condition === 'parking', 0.2);
    await rig.tick();
    expect(rig.at('mist')).toBe(0);
    expect(rig.servo('beak').pulsing).toBe(true);
    await rig.until(() => rig.condition === 'parked');
    const closed = rig.writes.findLast(({ output, value }) => output === 'mist' && value === 0)!;
    const moved = rig.writes.findLast(({ output, value }) => output === 'beak' && value > 0)!;
    expect(closed.ms).toBeLessThan(moved.ms);
    expect(rig.texts('sense')).toContain(
      'supply is below 5.20 V: the prop parks, and does not wake',
    );
    expect(rig.texts('condition').find((text) => text.startsWith('parking'))).toBe(
      'parking: supply is at 4.90 V, and the prop rests below 5.20 V',
    );
    expect(rig.texts('stop')).toEqual([]);
  });

  test('while a guard that keeps things still is broken it parks nothing; relays open', async () => {
    const meter = new Meter();
    meter.now.set('supply', 6);
    const main = new Recorder();
    const one = makeProp(
      { beak: servo({ rail: 'six' }), mist: relay() },
      {
        ...{ rails: RAILS, senses: { supply: SUPPLY } },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
        guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
      },
    );
    const { rig, client } = await Rig.live(one, { drivers: { meter, main } });
    await client.call('channel.switch', { channel: 'mist', on: true });
    await client.call('channel.move', { channel: 'beak', to: 20 });
    await rig.run(1500);
    main.level.set('guard mat', 1);
    await rig.run(100);
    meter.now.set('supply', 4.9);
    await rig.run(10_000);
    expect([rig.condition, rig.servo('beak').setpoint.pos, rig.at('mist')]).toEqual([
      ...['live', 20, 0],
    ]);
    // A foot that only shifts on the mat does not make it park.
    main.level.set('guard mat', 0);
    await rig.run(1500);
    main.level.set('guard mat', 1);
    await rig.run(10_000);
    expect([rig.condition, rig.servo('beak').setpoint.pos]).toEqual(['live', 20]);
    expect(rig.texts('sense').filter((text) => text.includes('once'))).toEqual([
      'supply is at 4.90 V, and the prop rests below 5.20 V: relays open; it parks once no guard is broken (mat)',
    ]);
    main.level.set('guard mat', 0);
    await rig.until(() => rig.condition === 'parked', 10);
    expect(rig.servo('beak').setpoint.pos).toBe(0);
  });

  test('a lost link that still holds is not cut short by it while a guard is broken', async () => {
    const meter = new Meter();
    meter.now.set('supply', 6);
    const main = new Recorder();
    const one = makeProp(
      { beak: servo({ rail: 'six' }) },
      {
        ...{ rails: RAILS, senses: { supply: SUPPLY } },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
        guards: { mat: { board: 'main', pin: 20, normallyClosed: true, action: 'inhibit' } },
        link: { timeoutMs: 500, onLoss: 'hold-then-park', holdS: 20 },
      },
    );
    const { rig, client } = await Rig.live(one, { drivers: { meter, main } });
    await client.call('channel.move', { channel: 'beak', to: 20 });
    await rig.run(1500);
    main.level.set('guard mat', 1);
    client.silent = true;
    await rig.run(1000);
    meter.now.set('supply', 4.9);
    await rig.run(5000);
    expect([rig.condition, rig.servo('beak').setpoint.pos]).toEqual(['parking', 20]);
    main.level.set('guard mat', 0);
    await rig.until(() => rig.condition === 'parked', 10);
  });

  test('while it is low nothing wakes, with the value and the remedy', async () => {
    const { rig, client, meter } = await live();
    meter.now.set('supply', 4.9);
    await rig.until(() => rig.condition === 'parked');
    // It recovers, as nothing draws current any more, but not far enough.
    meter.now.set('supply', 5.3);
    await rig.run(3000);
    const { length } = rig.writes;
    const refusal = await client.refused('wake');
    expect(refusal.word).toBe('sense.low');
    expect(refusal.message).toContain('supply is at 5.30 V, and the prop rests below 5.20 V');
    expect(refusal.message).toContain('wakes again from 5.36 V');
    expect(refusal.values).toMatchObject({ sense: 'supply', value: 5.3, parkBelow: 5.2 });
    await rig.run(500);
    expect([rig.condition, rig.writes.length]).toEqual(['parked', length]);
    meter.now.set('supply', 5.5);
    await rig.run(600);
    await rig.wake(client);
  });

  test('once its voltage is back, nothing unattended wakes it until somebody has taken control', async () => {
    const meter = new Meter();
    meter.now.set('supply', 6);
    const one = makeProp(
      { beak: servo({ rail: 'six' }) },
      {
        ...{ rails: RAILS, senses: { supply: SUPPLY } },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
        cues: { nod: [{ at: 0, move: { beak: 20 }, overS: 1 }] },
        triggers: { call: { osc: '/nod', cue: 'nod', unattended: true } },
      },
    );
    const rig = await Rig.open(one, {
      drivers: { meter, main: new Recorder() },
      restored: restedAt(one),
    });
    rig.core.triggers.begin();
    await rig.tick();
    rig.core.triggers.osc('/nod');
    await rig.until(() => rig.condition === 'live');
    meter.now.set('supply', 4.9);
    await rig.until(() => rig.condition === 'parked');
    // The battery recovers as soon as nothing draws from it.
    meter.now.set('supply', 6);
    await rig.run(5000);
    const { length } = rig.writes;
    rig.core.triggers.osc('/nod');
    await rig.run(1000);
    expect([rig.condition, rig.writes.length]).toEqual(['parked', length]);
    expect(rig.texts('refused').at(-1)).toContain(
      'a low voltage (supply) has made the prop park; somebody must look',
    );
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('lease.release');
    rig.core.triggers.osc('/nod');
    await rig.until(() => rig.condition === 'live');
  });

  test('low at the start: a prop at rest does not wake at all', async () => {
    const meter = new Meter();
    meter.now.set('supply', 4.9);
    const rig = await Rig.open(prop(), { drivers: { meter, main: new Recorder() } });
    await rig.run(TICK_MS * 4);
    const client = rig.client('desk');
    await client.call('lease.take');
    expect((await client.refused('wake')).word).toBe('sense.low');
  });

  test('while it wakes it parks again', async () => {
    const { rig, client, meter } = await live({ supply: { ...SUPPLY, forS: 0 } });
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    await client.call('wake');
    expect(rig.condition).toBe('waking');
    meter.now.set('supply', 4.9);
    await rig.run(TICK_MS * 8);
    expect(rig.condition).not.toBe('waking');
    await rig.until(() => rig.condition === 'parked');
  });

  test('a stopped prop stays stopped', async () => {
    const { rig, client, meter } = await live();
    await client.call('stop', { category: 1 });
    meter.now.set('supply', 4.9);
    await rig.run(3000);
    expect(rig.condition).toBe('stopped');
  });
});

describe('a sensor that is wrong', () => {
  const wrongs: Record<string, (meter: Meter) => void> = {
    'is gone': (meter) => meter.now.set('supply', undefined),
    'gives what is no number': (meter) => meter.now.set('supply', Number.NaN),
    'gives infinity': (meter) => meter.now.set('supply', Number.NEGATIVE_INFINITY),
    'has a fault': (meter) => meter.faults.set('supply', 'no answer at 0x40; check its wires'),
    throws: (meter) => {
      meter.failing.reading = new Error('it throws');
    },
    'fails as a whole': (meter) => {
      meter.failing.check = new Error('the bus is gone');
      meter.now.set('supply', undefined);
    },
  };

  test.each(Object.keys(wrongs))(
    '%s: shown as not measured, said once, and nothing else',
    async (how) => {
      const { rig, client, meter, value, notes } = await live();
      await rig.run(500);
      const { length } = rig.writes;
      wrongs[how]!(meter);
      await rig.run(900);
      expect(notes()).toEqual([]);
      await rig.run(300);
      expect(notes()).toHaveLength(1);
      expect(notes()[0]).toMatch(/^fault: supply is not measured: /);
      expect(value()).toBeNaN();
      expect(rig.core.body.rails[0]!.measuredV).toBeNaN();
      await rig.run(5000);
      expect(rig.texts('sense')).toHaveLength(1);
      expect([rig.condition, rig.writes.length]).toEqual(['live', length]);
      // It neither keeps the prop from moving nor from parking and waking.
      await client.call('channel.move', { channel: 'beak', to: 20 });
      await client.call('park');
      await rig.until(() => rig.condition === 'parked');
      await rig.wake(client);
      meter.faults.clear();
      meter.failing = {};
      meter.now.set('supply', 5.9);
      await rig.run(500);
      expect([value(), notes()]).toEqual([5.9, []]);
      expect(rig.texts('sense').at(-1)).toBe('supply is measured again');
      expect(rig.texts('fault')).toEqual([]);
    },
  );

  test.each([
    ['lies high', 60],
    ['sticks', 5.9],
  ])('%s: as without it', async (_how, volts) => {
    const { rig, client, meter, notes } = await live();
    meter.now.set('supply', volts);
    await client.call('channel.move', { channel: 'beak', to: 20 });
    await rig.run(3000);
    expect([rig.condition, notes()]).toEqual(['live', []]);
    expect(rig.servo('beak').setpoint.pos).toBe(20);
  });

  test('answers for another one: its own limits alone count, and parking is the worst that follows', async () => {
    const { rig, meter } = await live({
      supply: SUPPLY,
      draw: { kind: 'current', board: 'meter', rail: 'six' },
    });
    // The current comes as volts.
    meter.now.set('supply', 0.4).set('draw', 0.4);
    await rig.until(() => rig.condition === 'parking', 1);
    await rig.until(() => rig.condition === 'parked');
    expect(rig.texts('stop')).toEqual([]);
    expect(rig.servo('beak').known).toBe(true);
  });

  test('low, and then gone: it stays at rest, and says what was measured last', async () => {
    const { rig, client, meter } = await live();
    meter.now.set('supply', 4.9);
    await rig.until(() => rig.condition === 'parked');
    meter.now.set('supply', undefined);
    await rig.run(3000);
    const refusal = await client.refused('wake');
    expect(refusal.message).toContain('supply was at 4.90 V when it was measured last');
  });

  test('a reading from the future grows old as others do', async () => {
    const { rig, meter, notes } = await live();
    meter.skewMs = 1e6;
    await rig.run(200);
    meter.now.set('supply', undefined);
    await rig.run(1500);
    expect(notes()).toHaveLength(1);
  });

  test('outside its calibration a potentiometer is not measured', async () => {
    const angle = {
      ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
      calibration: [
        [0.5, -40],
        [2.5, 40],
      ],
    };
    const { rig, meter, notes } = await live({ angle });
    meter.now.set('angle', 2.55);
    await rig.run(200);
    expect(rig.servo('beak').measuredDeg).toBeCloseTo(42, 9);
    meter.now.set('angle', 3.3);
    await rig.run(1500);
    expect(notes()[0]).toContain('it reads 3.3 V, outside its calibration (0.4 to 2.6 V');
    expect(rig.servo('beak').measuredDeg).toBeNaN();
    // A new calibration is made from it: it is told how old the raw reading is.
    const raw = () => {
      const { senses } = rig.core.body;
      const at = senses.placeOf(senses.find('angle')!.index);
      return [senses.numbers[at + SENSE_AT.raw], senses.numbers[at + SENSE_AT.rawAgeS]!] as const;
    };
    expect(raw()[0]).toBe(3.3);
    expect(raw()[1]).toBeLessThan(0.05);
    meter.now.set('angle', undefined);
    await rig.run(1500);
    expect(raw()[0]).toBe(3.3);
    expect(raw()[1]).toBeGreaterThan(1.4);
  });

  test('a board that only measures and cannot be opened fails no prop', async () => {
    const meter = new Meter();
    meter.failing.open = new Error('no chip at 0x40');
    meter.failing.close = new Error('no chip at 0x40');
    const rig = await Rig.open(prop(), { drivers: { meter, main: new Recorder() } });
    const client = rig.client('desk');
    await rig.wake(client);
    await rig.run(2000);
    expect(rig.condition).toBe('live');
    expect(rig.core.safety.senses?.map(({ text }) => text)).toEqual([
      'supply is not measured: no chip at 0x40',
    ]);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    await rig.core.close();
    expect(rig.texts('fault')).toEqual([]);
  });

  test('a driver that measures nothing, and one whose senses do not open', async () => {
    const meter = new Meter();
    meter.failing.senses = new Error('too many senses');
    for (const driver of [new Recorder(), meter]) {
      const rig = await Rig.open(prop(), { drivers: { meter: driver, main: new Recorder() } });
      await settle();
      await rig.run(1500);
      expect(rig.core.safety.senses).toHaveLength(1);
      expect(rig.condition).toBe('parked');
    }
  });
});

test('a prop without senses has nothing of them', async () => {
  const { rig } = await live({});
  await rig.run(1000);
  expect(rig.core.safety).toEqual({ lockout: null, guards: [], notParked: null });
  expect(rig.core.body.rails[0]!.measuredV).toBeNaN();
  expect(rig.texts('sense')).toEqual([]);
});

test('the low of a battery holds on when the file changes', async () => {
  const { rig, client, meter } = await live();
  meter.now.set('supply', 4.9);
  await rig.until(() => rig.condition === 'parked');
  meter.now.set('supply', 5.3);
  await rig.run(1000);
  const other = prop({ supply: SUPPLY, draw: { kind: 'current', board: 'meter', rail: 'six' } });
  const { channels, cues: _, ...rest } = other;
  rig.bench.messages.push(
    {
      ...{ t: 'begin', id: 7, version: 'v2', base: '', whenParked: true },
      ...{ changed: [], view: new Uint8Array(), rest },
    },
    ...Object.entries(channels).map(([name, spec]) => ({ t: 'channel', name, spec }) as const),
    { t: 'end' },
  );
  await rig.run(1000);
  expect(rig.core.body.senses.list).toHaveLength(2);
  expect((await client.refused('wake')).word).toBe('sense.low');
});
