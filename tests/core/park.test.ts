import { describe, expect, test } from 'vitest';
import { lamp, makeProp, pulseOf, Rig, relay, restedAt, rgb, servo } from './rig.ts';

const owl = (over: Record<string, unknown> = {}) =>
  makeProp(
    {
      lid_left: servo({ park: { to: 0 } }),
      beak: servo({
        requires: [{ channel: 'lid_left', above: 5 }],
        park: { to: 0, then: 'release' },
      }),
      wing: servo({ park: { to: -10, then: 'release' } }),
      tail: servo({ park: { to: 0 } }),
      mist: relay(),
      fan: relay(),
      lantern: lamp({ fadeS: 1 }),
      eye: rgb({ park: { to: '#000000' } }),
    },
    {
      park: { stages: [['mist'], ['beak', 'lid_left'], ['wing']], deadlineS: 6 },
      ...over,
    },
  );

async function busy(prop = owl()) {
  const { rig, client } = await Rig.live(prop);
  await client.call('channel.move', { channel: 'lid_left', to: 30 });
  await client.call('channel.move', { channel: 'wing', to: 30 });
  await client.call('channel.move', { channel: 'tail', to: 30 });
  await client.call('channel.switch', { channel: 'mist', on: true });
  await client.call('channel.switch', { channel: 'fan', on: true });
  await client.call('channel.dim', { channel: 'lantern', to: 1 });
  await rig.run(1500);
  await client.call('channel.move', { channel: 'beak', to: 25 });
  await rig.run(1500);
  return { rig, client };
}

/** The time of the first and the last change of an output since `fromMs`. */
function span(rig: Rig, output: string, fromMs: number): [number, number] {
  const times = rig.writes
    .filter((write) => write.output === output && write.ms > fromMs)
    .map(({ ms }) => ms);
  return [times[0]!, times.at(-1)!];
}

describe('stages', () => {
  test('relays that no stage names first, then stage by stage, then the rest together', async () => {
    const { rig, client } = await busy();
    const startMs = rig.clock.nowMs();
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const at = (output: string) => span(rig, output, startMs);
    expect(at('fan')).toEqual([startMs + 5, startMs + 5]);
    expect(at('mist')[0]).toBeGreaterThanOrEqual(at('fan')[0]);
    expect(at('beak')[0]).toBeGreaterThanOrEqual(at('mist')[1]);
    expect(at('wing')[0]).toBeGreaterThan(at('lid_left')[1]);
    const arrivedMs = rig.writes.find(
      ({ output, ms, value }) => output === 'wing' && ms > startMs && value === pulseOf(-10),
    )!.ms;
    expect(at('tail')[0]).toBeGreaterThan(arrivedMs);
    expect(Math.abs(at('lantern')[0] - at('tail')[0])).toBeLessThanOrEqual(20);
  });

  test('many servos set off over some ticks, though all are home in time; relays open at once', async () => {
    const many = <T>(count: number, of: (n: number) => [string, T]) =>
      Object.fromEntries(Array.from({ length: count }, (_, n) => of(n)));
    const servos = many(20, (n) => [`flap_${n}`, servo({ park: { to: 0 } })]);
    const relays = many(12, (n) => [`valve_${n}`, relay()]);
    const { rig, client } = await Rig.live(makeProp({ ...servos, ...relays }));
    for (const name of Object.keys(servos))
      await client.call('channel.move', { channel: name, to: 20 });
    for (const name of Object.keys(relays))
      await client.call('channel.switch', { channel: name, on: true });
    await rig.run(2000);
    const startMs = rig.clock.nowMs();
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    for (const name of Object.keys(relays))
      expect(span(rig, name, startMs)).toEqual([startMs + 5, startMs + 5]);
    const offMs = Object.keys(servos).map((name) => span(rig, name, startMs)[0]);
    const together = (ms: number) => offMs.filter((one) => one === ms).length;
    expect(Math.max(...offMs.map(together))).toBe(8);
    expect(Math.max(...offMs) - Math.min(...offMs)).toBe(10);
    for (const name of Object.keys(servos)) expect(rig.servo(name).setpoint.pos).toBe(0);
  });

  test('within a stage, what depends on an interlock goes before what it depends on', async () => {
    const { rig, client } = await busy();
    const startMs = rig.clock.nowMs();
    await client.call('park');
    let opened = 0;
    rig.afterTick = () => {
      // The beak must not be open while the lid is down.
      if (rig.servo('lid_left').setpoint.pos <= 5 && rig.servo('beak').setpoint.pos > 0) opened++;
    };
    await rig.until(() => rig.condition === 'parked');
    const home = rig.writes.find(
      ({ output, ms, value }) => output === 'beak' && ms > startMs && value === pulseOf(0),
    )!;
    expect(span(rig, 'lid_left', startMs)[0]).toBeGreaterThanOrEqual(home.ms);
    expect(opened).toBe(0);
  });

  test('hold goes on holding, release stops the pulses, and only when all is home', async () => {
    const { rig, client } = await busy();
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const zeroMs = rig.writes.filter(({ value, output }) => value === 0 && output === 'beak');
    expect(zeroMs.at(-1)!.ms).toBe(rig.clock.nowMs());
    expect([rig.at('beak'), rig.at('wing')]).toEqual([0, 0]);
    expect([rig.at('lid_left'), rig.at('tail')]).toEqual([1500, 1500]);
  });
});

describe('asked again', () => {
  test('while parking: it goes on as it was', async () => {
    const { rig, client } = await busy();
    await client.call('park');
    await rig.run(100);
    const plans = rig.core.body.servos.map((one) => one.plans);
    await expect(client.call('park')).resolves.toEqual({ condition: 'parking' });
    expect(rig.core.body.servos.map((one) => one.plans)).toEqual(plans);
    await rig.until(() => rig.condition === 'parked');
  });

  test('while parked and at rest: nothing happens', async () => {
    const { rig, client } = await busy();
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const { length } = rig.writes;
    await expect(client.call('park')).resolves.toEqual({ condition: 'parked' });
    await rig.run(2000);
    expect(rig.writes).toHaveLength(length);
  });

  test('waiting for its end', async () => {
    const { rig, client } = await busy();
    let answered: unknown;
    void client.call('park', { wait: true }).then((value) => {
      answered = value;
    });
    await rig.run(200);
    expect(answered).toBeUndefined();
    await rig.until(() => rig.condition === 'parked');
    await rig.tick();
    expect(answered).toEqual({ condition: 'parked' });
  });
});

describe('from parked with something away after a stop', () => {
  test('held there, it is brought home', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    await client.call('reset');
    expect(rig.condition).toBe('parked');
    await rig.client('guest').call('park');
    expect(rig.condition).toBe('parking');
    await rig.until(() => rig.condition === 'parked', 6);
    for (const { setpoint: state, parkDeg } of rig.core.body.servos)
      expect(state.pos).toBe(parkDeg);
  });

  test('known from the state of an earlier run, it is brought home once that is on the disk', async () => {
    const prop = owl();
    const rig = await Rig.open(prop, { restored: restedAt(prop, { wing: 30 }) });
    rig.store.noted = 'not yet';
    await rig.client('guest').call('park');
    await rig.run(1000);
    expect(rig.writes).toEqual([]);
    expect(rig.store.durable!.settled).toBe(false);
    rig.store.noted = 'yes';
    await rig.until(() => rig.condition === 'parked', 6);
    expect(rig.servo('wing').setpoint.pos).toBe(-10);
  });

  test('and that cannot be on the disk, nothing moves', async () => {
    const prop = owl();
    const rig = await Rig.open(prop, { restored: restedAt(prop, { wing: 30 }) });
    rig.store.noted = new Error('EROFS');
    await rig.client('guest').call('park');
    await rig.run(1000);
    expect(rig.writes).toEqual([]);
    expect(rig.condition).toBe('parked');
    expect(rig.texts('state').at(-1)).toContain('EROFS');
  });

  test.each([0, 1] as const)(
    'limp after category %d, it stays limp: only a confirmed wake may move it',
    async (category) => {
      const { rig, client } = await busy();
      await client.call('stop', { category });
      await rig.run(1000);
      await client.call('reset');
      const { length } = rig.writes;
      await rig.client('guest').call('park');
      await rig.until(() => rig.condition === 'parked', 6);
      await rig.run(3000);
      expect(rig.writes).toHaveLength(length);
      for (const name of ['lid_left', 'wing', 'tail']) expect(rig.at(name)).toBe(0);
    },
  );
});

test('past the deadline: stop category 0, and the journal names what was not at rest', async () => {
  const { rig, client } = await busy(
    owl({ park: { stages: [['mist'], ['beak', 'lid_left'], ['wing']], deadlineS: 0.8 } }),
  );
  await client.call('park');
  const startMs = rig.clock.nowMs();
  await rig.until(() => rig.condition !== 'parking');
  expect(rig.condition).toBe('stopped');
  const lastedMs = rig.clock.nowMs() - startMs;
  expect(lastedMs).toBeGreaterThan(800);
  expect(lastedMs).toBeLessThanOrEqual(810);
  for (const name of ['lid_left', 'beak', 'wing', 'tail']) expect(rig.at(name)).toBe(0);
  expect(rig.at('lantern')).toBe(0);
  expect(rig.texts('stop').at(-1)).toMatch(/not parked within 0\.8 s: .*wing.*tail/);
});

test('a servo that pushes so hard that the rail is over its limit can still leave the stop', async () => {
  const draw = { idleA: 0.1, movingA: 0.5, stallA: 2 };
  const prop = makeProp(
    { neck: servo({ rail: 'six', draw }), jaw: servo({ rail: 'six', draw }) },
    { rails: { six: { volts: 6, limitA: 1.2 } }, park: { stages: [['neck']], deadlineS: 5 } },
  );
  const { rig, client } = await Rig.live(prop);
  await client.call('channel.move', { channel: 'neck', to: 40 });
  await rig.run(1000);
  rig.board().pushing.add('neck');
  await rig.run(50);
  expect(rig.amps('six')).toBeGreaterThan(1.2);
  await client.call('park');
  await rig.until(() => rig.servo('neck').setpoint.pos < 38, 1);
  rig.board().pushing.delete('neck');
  await rig.until(() => rig.condition !== 'parking', 6);
  expect(rig.condition).toBe('parked');
});

test('several that push at once, and fill the rail many times over, leave their stops one by one', async () => {
  const draw = { idleA: 0.01, movingA: 0.25, stallA: 0.7 };
  const names = ['one', 'two', 'three', 'four'];
  const prop = makeProp(
    Object.fromEntries(names.map((name) => [name, servo({ rail: 'six', draw })])),
    {
      rails: { six: { volts: 6, limitA: 2 } },
      park: { stages: [names], deadlineS: 5 },
    },
  );
  const { rig, client } = await Rig.live(prop);
  for (const channel of names) {
    await client.call('channel.move', { channel, to: 40 });
    await rig.run(1000);
  }
  for (const name of names) rig.board().pushing.add(name);
  await rig.run(50);
  expect(rig.amps('six')).toBeCloseTo(4 * 0.7, 9);
  await client.call('park');
  await rig.until(() => names.every((name) => rig.servo(name).setpoint.pos < 38), 2);
  for (const name of names) rig.board().pushing.delete(name);
  await rig.until(() => rig.condition !== 'parking', 6);
  expect(rig.condition).toBe('parked');
});

test('while feeling for a stop: it comes back inside with the others', async () => {
  const { rig, client } = await Rig.live(owl());
  await client.call('channel.move', { channel: 'tail', to: 40 });
  await client.call('channel.move', { channel: 'wing', to: 30 });
  await rig.run(1500);
  await client.call('channel.jog', { channel: 'tail', byDeg: 5, beyondLimits: true });
  await rig.run(150);
  await client.call('park');
  await rig.until(() => rig.condition === 'parked', 6);
  expect(rig.servo('tail').beyond).toBe(false);
  expect(rig.servo('tail').setpoint.pos).toBe(0);
});

describe('relays and lamps that park lit or closed', () => {
  const prop = () =>
    makeProp(
      { neck: servo(), blower: relay({ park: { to: 'on' } }), glow: lamp({ park: { to: 0.4 } }) },
      { park: { stages: [], deadlineS: 3 } },
    );

  test('are closed and lit by parking, and stay so', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(500);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 4);
    expect(rig.on('blower')).toBe(true);
    // CIE L* 40 is a luminance of ((40 + 16) / 116)^3 (CIE 15).
    expect(rig.at('glow')).toBeCloseTo((56 / 116) ** 3, 9);
  });

  test('and a stop opens and darkens them all the same', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 4);
    await client.call('stop', { category: 0 });
    await rig.tick();
    expect([rig.on('blower'), rig.at('blower'), rig.at('glow')]).toEqual([false, 0, 0]);
  });

  test('a relay that may not close yet is tried again until it may', async () => {
    const tight = makeProp(
      {
        blower: relay({ rail: 'five', draw: { onA: 1 }, park: { to: 'on' } }),
        heater: relay({ rail: 'five', draw: { onA: 1 } }),
      },
      {
        rails: { five: { volts: 5, limitA: 1.5 } },
        // `blower` first, though there is room only once `heater` is open.
        park: { stages: [['blower', 'heater']], deadlineS: 3 },
      },
    );
    const { rig, client } = await Rig.live(tight);
    await client.call('channel.switch', { channel: 'heater', on: true });
    await rig.tick();
    await client.call('park');
    await rig.until(() => rig.condition !== 'parking', 4);
    expect(rig.condition).toBe('parked');
    expect([rig.on('blower'), rig.on('heater')]).toEqual([true, false]);
  });
});

test('parked is not reported while a servo still jumps from an unknown position', async () => {
  const prop = makeProp({ neck: servo({ park: { to: 0, then: 'release' } }) });
  const rig = await Rig.open(prop);
  const client = rig.client('desk');
  await client.call('lease.take');
  await client.call('wake');
  await rig.run(20);
  await client.call('park');
  await rig.run(100);
  expect(rig.condition).toBe('parking');
  expect(rig.at('neck')).toBe(1500);
  await rig.until(() => rig.condition === 'parked', 2);
  expect(rig.at('neck')).toBe(0);
  expect(rig.servo('neck').known).toBe(true);
});

test('limp servos are not woken by a lost link, only by somebody who asks for park', async () => {
  const prop = makeProp({ neck: servo(), jaw: servo() });
  const rig = await Rig.open(prop, { restored: restedAt(prop, { neck: 20, jaw: 20 }) });
  await rig.run(100);
  expect(rig.writes).toHaveLength(0);
  await rig.client('guest').call('park');
  await rig.until(() => rig.condition === 'parked', 3);
  expect(rig.at('neck')).toBe(1500);
  expect(rig.writes.filter(({ output }) => output === 'neck')[0]!.value).toBe(pulseOf(20));
});
