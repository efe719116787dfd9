import { describe, expect, test } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import {
  lamp,
  makeProp,
  pulseOf,
  Recorder,
  Rig,
  relay,
  restedAt,
  rgb,
  servo,
  TICK_S,
} from '../rig.ts';

const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    {
      neck: servo(),
      jaw: servo({ jerkDegS3: 6000 }),
      fan: relay(),
      heater: relay({ output: { activeLow: true } }),
      glow: lamp({ output: { activeLow: true } }),
      eye: rgb({ output: { common: 'anode' } }),
    },
    over,
  );
const SERVOS = ['neck', 'jaw'];
const DARK: [string, number][] = [
  ['glow', 1],
  ['eye.red', 1],
  ['eye.green', 1],
  ['eye.blue', 1],
];

/** Everything moves, is closed and lit. */
async function busy(over = {}) {
  const { rig, client } = await Rig.live(prop(over));
  await client.call('channel.switch', { channel: 'fan', on: true });
  await client.call('channel.switch', { channel: 'heater', on: true, forS: 3 });
  await client.call('channel.dim', { channel: 'glow', to: 0.8, fadeS: 5 });
  await client.call('channel.colour', { channel: 'eye', to: 'white' });
  await client.call('channel.move', { channel: 'neck', to: 40 });
  await client.call('channel.move', { channel: 'jaw', to: -40 });
  await rig.run(250);
  for (const name of SERVOS) expect(Math.abs(rig.servo(name).setpoint.vel)).toBeGreaterThan(80);
  return { rig, client };
}

/** Decelerations of a servo (deg/s2) from tick to tick, until it stands. */
async function decelerations(rig: Rig, name: string): Promise<number[]> {
  const found: number[] = [];
  let { vel } = rig.servo(name).setpoint;
  while (rig.servo(name).moving) {
    await rig.tick();
    found.push(Math.abs(rig.servo(name).setpoint.vel - vel) / TICK_S);
    ({ vel } = rig.servo(name).setpoint);
  }
  return found;
}

const relaysAreOpen = (rig: Rig) =>
  expect([rig.at('fan'), rig.at('heater')], 'relays').toEqual([0, 1]);

describe('category 0', () => {
  test('in the very next tick no pulses, relays at their safe level, lamps dark', async () => {
    const { rig, client } = await busy();
    await expect(client.call('stop', { category: 0 })).resolves.toEqual({ condition: 'stopped' });
    await rig.tick();
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
    relaysAreOpen(rig);
    for (const [output, duty] of DARK) expect([output, rig.at(output)]).toEqual([output, duty]);
  });

  test('nothing comes back: no timer, no fade, no move', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 0 });
    await rig.tick();
    const { length } = rig.writes;
    await rig.run(10_000);
    expect(rig.writes).toHaveLength(length);
  });
});

describe('category 1', () => {
  test('relays open at once, servos decelerate within their limits, then everything drops', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 1 });
    await rig.tick();
    relaysAreOpen(rig);
    for (const name of SERVOS) expect(rig.at(name)).not.toBe(0);
    const slowing = await decelerations(rig, 'neck');
    // 120 deg/s at 600 deg/s2 take 0.2 s.
    expect(slowing.length).toBeGreaterThan(30);
    expect(Math.max(...slowing)).toBeLessThanOrEqual(600 * (1 + 1e-9));
    await rig.until(() => rig.at('neck') === 0, 1);
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
    for (const [output, duty] of DARK) expect(rig.at(output)).toBe(duty);
    expect(rig.condition).toBe('stopped');
  });

  test('the power goes only when the last servo stands', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 1 });
    await rig.until(() => !rig.servo('neck').moving, 1);
    expect(rig.servo('jaw').moving).toBe(true);
    expect(rig.at('neck')).not.toBe(0);
  });

  test('asked for together with a reset and a wake, it drops nothing that has just woken', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('stop', { category: 1 });
    await client.call('reset');
    await client.call('wake');
    await rig.until(() => rig.condition === 'live', 3);
    for (const name of SERVOS) {
      expect(rig.servo(name).pulsing).toBe(true);
      expect(rig.at(name)).toBe(1500);
    }
  });
});

test('category 2 decelerates within the limits and keeps holding', async () => {
  const { rig, client } = await busy();
  await client.call('stop', { category: 2 });
  await rig.tick();
  relaysAreOpen(rig);
  expect(Math.max(...(await decelerations(rig, 'neck')))).toBeLessThanOrEqual(600 * (1 + 1e-9));
  await rig.run(1000);
  const held = SERVOS.map((name) => rig.at(name));
  for (const us of held) expect(Math.abs(us - 1500)).toBeGreaterThan(100);
  await rig.run(6000);
  expect(SERVOS.map((name) => rig.at(name))).toEqual(held);
});

describe('a stop latches', () => {
  test.each([0, 1, 2] as const)(
    'category %d: wake, park and moves are refused until a reset',
    async (category) => {
      const { rig, client } = await busy();
      await client.call('stop', { category });
      await rig.run(1000);
      for (const method of ['wake', 'park'] as const)
        expect((await client.refused(method)).code).toBe(CODES.condition);
      expect((await client.refused('channel.move', { channel: 'neck', to: 0 })).code).toBe(
        CODES.condition,
      );
      expect(rig.condition).toBe('stopped');
    },
  );

  test.each([0, 1, 2] as const)('after category %d a reset changes no output', async (category) => {
    const { rig, client } = await busy();
    await client.call('stop', { category });
    await rig.run(6000);
    const { length } = rig.writes;
    await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
    await rig.run(5000);
    expect(rig.writes).toHaveLength(length);
    expect(rig.condition).toBe('parked');
  });

  test('a reset is refused while something still decelerates', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.tick();
    expect((await client.refused('reset')).code).toBe(CODES.condition);
    await rig.run(1000);
    await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
  });

  test('held by category 2, after a reset and a wake each servo is where it was stopped', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    await client.call('reset');
    const pulses = () => rig.writes.filter(({ output }) => SERVOS.includes(output)).length;
    const before = pulses();
    await client.call('wake', {});
    await rig.until(() => rig.condition === 'live', 3);
    expect(pulses()).toBe(before);
    for (const name of SERVOS) {
      expect(rig.servo(name).setpoint.pos).not.toBe(0);
      expect(rig.at(name)).toBe(Math.round(pulseOf(rig.servo(name).setpoint.pos)));
    }
  });
});

describe('escalation', () => {
  test('2, then 0: the power goes in the next tick', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.tick();
    await client.call('stop', { category: 0 });
    await rig.tick();
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
  });

  test('1, then 2, while decelerating: it still drops', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 1 });
    await rig.tick();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
  });

  test('0, then 2: nothing comes back', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 0 });
    await rig.tick();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
  });
});

test('any session may stop, and the journal names it', async () => {
  const { rig } = await busy();
  await rig.client('guest').call('stop', { category: 0 });
  expect(rig.condition).toBe('stopped');
  expect(rig.entries.find(({ what }) => what === 'stop')).toMatchObject({ who: 'guest' });
});

test('what waits for its rail never starts after a stop', async () => {
  const draw = { idleA: 0.1, movingA: 0.6 };
  const tight = makeProp(
    { one: servo({ rail: 'six', draw }), two: servo({ rail: 'six', draw }) },
    { rails: { six: { volts: 6, limitA: 0.8 } } },
  );
  const { rig, client } = await Rig.live(tight);
  await client.call('channel.move', { channel: 'one', to: 40 });
  await client.call('channel.move', { channel: 'two', to: 40 });
  await rig.run(50);
  expect(rig.servo('two').delayed).toBe(true);
  await client.call('stop', { category: 2 });
  await rig.run(3000);
  expect(rig.servo('two').setpoint.pos).toBe(0);
  expect(rig.servo('two').delayed).toBe(false);
  expect(rig.at('two')).toBe(1500);
});

// --- the stop button ------------------------------------------------------------------------------

const button = (normallyClosed: boolean, category: 0 | 1 | 2, board = 'main') => ({
  stopInput: { board, pin: 40, normallyClosed, category },
});

describe.each([
  ['normally closed', true, 0, 1],
  ['normally open', false, 1, 0],
] as const)('a %s stop button', (_what, normallyClosed, rest, pressed) => {
  test('rests without stopping anything', async () => {
    const { rig } = await busy(button(normallyClosed, 0));
    expect(rig.board().inputs[0]).toMatchObject({ pull: 'up', restLevel: rest });
    expect(rig.condition).toBe('live');
  });

  test.each([0, 1, 2] as const)(
    'latches a stop of its category %d within one tick',
    async (category) => {
      const { rig, client } = await busy(button(normallyClosed, category));
      rig.board().level.set('stopInput', pressed);
      await rig.tick();
      expect(rig.condition).toBe('stopped');
      relaysAreOpen(rig);
      if (category === 0) expect(rig.at('neck')).toBe(0);
      await rig.run(1000);
      expect(rig.at('neck') === 0).toBe(category < 2);
      rig.board().level.set('stopInput', rest);
      await rig.run(100);
      expect(rig.condition).toBe('stopped');
      await rig.run(2000);
      await expect(client.call('reset', { confirm: 'stop button' })).resolves.toMatchObject({
        condition: 'parked',
      });
    },
  );

  test('a reset is refused while it is pressed', async () => {
    const { rig, client } = await busy(button(normallyClosed, 2));
    rig.board().level.set('stopInput', pressed);
    await rig.run(1000);
    const refusal = await client.refused('reset');
    expect(refusal.code).toBe(CODES.condition);
    expect(refusal.message).toContain('pressed');
    expect(rig.condition).toBe('stopped');
  });

  test('is told once, however long it is pressed', async () => {
    const { rig } = await busy(button(normallyClosed, 1));
    rig.board().level.set('stopInput', pressed);
    await rig.run(2000);
    expect(rig.texts('stop')).toEqual(['stop category 1: stop button']);
  });

  test('pressed while a milder stop is latched, it drops the power', async () => {
    const { rig, client } = await busy(button(normallyClosed, 0));
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    expect(rig.at('neck')).not.toBe(0);
    rig.board().level.set('stopInput', pressed);
    await rig.tick();
    for (const name of SERVOS) expect(rig.at(name)).toBe(0);
  });

  test('stops a parking and a waking', async () => {
    const { rig, client } = await busy(button(normallyClosed, 0));
    await client.call('park');
    await rig.run(50);
    rig.board().level.set('stopInput', pressed);
    await rig.tick();
    expect([rig.condition, rig.at('neck'), rig.at('jaw')]).toEqual(['stopped', 0, 0]);
    rig.board().level.set('stopInput', rest);
    await rig.run(2000);
    await client.call('reset', { confirm: 'stop button' });
    await client.call('wake');
    await rig.tick();
    expect(rig.at('neck')).not.toBe(0);
    rig.board().level.set('stopInput', pressed);
    await rig.tick();
    expect([rig.condition, rig.at('neck'), rig.at('jaw')]).toEqual(['stopped', 0, 0]);
  });
});

test('a broken wire counts as pressed: with the contact gone, the pull-up is read', async () => {
  const { rig } = await busy(button(true, 0));
  const { pull } = rig.board().inputs[0]!;
  rig.board().level.set('stopInput', pull === 'up' ? 1 : 0);
  await rig.tick();
  expect(rig.condition).toBe('stopped');
});

test('pressed at power-on, the prop starts stopped', async () => {
  const p = prop(button(true, 1));
  const board = new Recorder();
  board.level.set('stopInput', 1);
  const rig = await Rig.open(p, { drivers: { main: board }, restored: restedAt(p) });
  await rig.tick();
  expect(rig.condition).toBe('stopped');
});
