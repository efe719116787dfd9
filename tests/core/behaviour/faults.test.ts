import { describe, expect, test, vi } from 'vitest';
import { CODES } from '../../../src/shared/errors.ts';
import {
  type Client,
  lamp,
  makeProp,
  pulseOf,
  Recorder,
  Rig,
  relay,
  restedAt,
  servo,
  settle,
} from '../rig.ts';

/** Two boards, each with a servo, a relay and a lamp. */
const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    {
      head: servo({ board: 'upper' }),
      horn: relay({ board: 'upper', output: { activeLow: true } }),
      halo: lamp({ board: 'upper' }),
      tail: servo({ board: 'lower' }),
      toe: servo({ board: 'lower' }),
      mist: relay({ board: 'lower' }),
      sole: lamp({ board: 'lower' }),
    },
    { boards: { upper: { driver: 'sim' }, lower: { driver: 'sim' } }, ...over },
  );

async function busy(over: Record<string, unknown> = {}) {
  const { rig, client } = await Rig.live(prop(over));
  for (const channel of ['horn', 'mist'])
    await client.call('channel.switch', { channel, on: true });
  for (const channel of ['halo', 'sole']) await client.call('channel.dim', { channel, to: 1 });
  for (const channel of ['head', 'tail'])
    await client.call('channel.move', { channel, to: 30, overS: 1 });
  await rig.run(500);
  return { rig, client, upper: rig.board('upper'), lower: rig.board('lower') };
}

describe.each(['write', 'sense'] as const)('a board that throws at %s', (what) => {
  test('faulted; its own servos are held for lost, the rest parks, relays open everywhere', async () => {
    const { rig, upper, lower } = await busy();
    upper.failing[what] = new Error('the cable is out');
    await rig.run(25);
    expect(rig.condition).toBe('faulted');
    expect(rig.texts('fault')).toEqual(['board upper: the cable is out']);
    expect(lower.value.get('mist')).toBe(0);
    expect(rig.on('horn')).toBe(false);
    expect(rig.servo('head').known).toBe(false);
    await rig.run(3000);
    expect(lower.value.get('tail')).toBe(1500);
    expect(lower.value.get('sole')).toBe(0);
    expect(rig.texts('fault')).toHaveLength(1);
    expect(rig.condition).toBe('faulted');
  });

  test('while it is dead nothing is written to it; a reset opens it again, with everything safe', async () => {
    const { rig, client, upper } = await busy();
    upper.failing[what] = new Error('the cable is out');
    await rig.run(3000);
    const { length } = upper.writes;
    await rig.run(1000);
    expect(upper.writes).toHaveLength(length);
    upper.failing = {};
    await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
    expect(upper.opened).toBe(2);
    await rig.run(500);
    expect([upper.value.get('head'), upper.value.get('horn'), upper.value.get('halo')]).toEqual([
      0, 1, 0,
    ]);
    await client.call('wake');
    await rig.until(() => rig.condition === 'live', 5);
    expect(rig.texts('position unknown')).toHaveLength(1);
    expect(upper.value.get('head')).toBe(1500);
  });
});

test('waking, moving and parking are refused while faulted', async () => {
  const { rig, client, upper } = await busy();
  upper.failing.write = new Error('out');
  await rig.run(3000);
  for (const method of ['wake', 'park'] as const)
    expect((await client.refused(method)).code).toBe(CODES.condition);
  expect((await client.refused('channel.move', { channel: 'tail', to: 5 })).code).toBe(
    CODES.condition,
  );
});

test('a reset is refused while what is left still parks, and while the board still fails', async () => {
  const { rig, client, upper } = await busy();
  upper.failing = { write: new Error('out'), open: new Error('still out') };
  await rig.run(50);
  expect((await client.refused('reset')).message).toContain('still moves');
  await rig.run(3000);
  const refusal = await client.refused('reset');
  expect([refusal.code, refusal.values.board]).toEqual([CODES.condition, 'upper']);
  expect(rig.condition).toBe('faulted');
});

test('both boards at once: faulted, and it ends', async () => {
  const { rig, client, upper, lower } = await busy();
  upper.failing.write = new Error('out');
  lower.failing.write = new Error('out as well');
  await rig.run(3000);
  expect(rig.condition).toBe('faulted');
  expect(rig.texts('fault')).toHaveLength(2);
  upper.failing = {};
  lower.failing = {};
  await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
});

describe('nothing begins to move by a fault', () => {
  const fail = async (rig: Rig) => {
    rig.board('upper').failing.sense = new Error('out');
    const { length } = rig.board('lower').writes;
    await rig.run(3000);
    expect(rig.condition).toBe('faulted');
    return rig.board('lower').writes.slice(length);
  };

  test('out of a stop', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    expect(rig.servo('tail').setpoint.pos).not.toBe(0);
    expect(await fail(rig)).toEqual([]);
  });

  test('out of a reset after a stop', async () => {
    const { rig, client } = await busy();
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    await client.call('reset');
    expect(await fail(rig)).toEqual([]);
  });

  test('that had a stop 1 still running: it drops all the same', async () => {
    const { rig, client } = await busy();
    await client.call('channel.move', { channel: 'tail', to: -40 });
    await rig.run(250);
    await client.call('stop', { category: 1 });
    await rig.tick();
    await fail(rig);
    expect([rig.board('lower').value.get('tail'), rig.board('lower').value.get('sole')]).toEqual([
      0, 0,
    ]);
  });
});

test('a stop is heeded while what is left parks after a fault', async () => {
  const { rig, upper, lower } = await busy();
  upper.failing.write = new Error('out');
  await rig.run(50);
  await rig.client('guest').call('stop', { category: 0 });
  await rig.tick();
  expect([lower.value.get('tail'), lower.value.get('toe'), lower.value.get('sole')]).toEqual([
    0, 0, 0,
  ]);
  expect(rig.condition).toBe('faulted');
});

describe('the stop button', () => {
  const button = (board: string) => ({
    stopInput: { board, pin: 40, normallyClosed: true, category: 0 },
  });

  test('is heeded while what is left parks after a fault', async () => {
    const { rig, upper, lower } = await busy(button('lower'));
    upper.failing.write = new Error('out');
    await rig.run(50);
    expect(rig.servo('tail').moving).toBe(true);
    lower.level.set('stopInput', 1);
    await rig.tick();
    expect([lower.value.get('tail'), lower.value.get('toe')]).toEqual([0, 0]);
    expect(rig.texts('stop')).toHaveLength(1);
    await rig.run(500);
    expect(rig.texts('stop')).toHaveLength(1);
  });

  test.each(['read', 'write'] as const)(
    'that can no longer be read (%s fails) counts as pressed',
    async (what) => {
      const { rig, client, upper, lower } = await busy(button('upper'));
      upper.failing[what] = new Error('out');
      await rig.run(10);
      expect(rig.condition).toBe('faulted');
      expect([lower.value.get('tail'), lower.value.get('toe'), lower.value.get('mist')]).toEqual([
        0, 0, 0,
      ]);
      upper.failing = {};
      await rig.run(100);
      await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
    },
  );

  test('pressed, it refuses the reset of a fault too', async () => {
    const { rig, client, upper } = await busy(button('upper'));
    upper.failing.write = new Error('out');
    await rig.run(100);
    upper.failing = {};
    upper.level.set('stopInput', 1);
    expect((await client.refused('reset')).message).toContain('pressed');
    expect(rig.condition).toBe('faulted');
  });
});

describe('a reset that takes its time', () => {
  async function resetting(name: 'upper' | 'lower') {
    const { rig, client } = await busy();
    const board = rig.board(name);
    board.failing.write = new Error('out');
    await rig.run(3000);
    board.failing = {};
    let opened = () => {};
    board.opening = new Promise<void>((resolve) => {
      opened = resolve;
    });
    const reset = client.call('reset').then(
      (value) => value,
      (error) => error,
    );
    await rig.run(50);
    return { rig, client, board, opened, reset };
  }

  test('a second one meanwhile is refused', async () => {
    const { rig, client, board, opened, reset } = await resetting('upper');
    expect((await client.refused('reset')).message).toContain('under way');
    opened();
    expect(await reset).toMatchObject({ condition: 'parked' });
    expect(board.opened).toBe(2);
    expect(rig.condition).toBe('parked');
  });

  test('another board that fails meanwhile is not forgotten', async () => {
    const { rig, opened, reset } = await resetting('lower');
    rig.board('upper').failing.sense = new Error('out as well');
    await rig.run(50);
    opened();
    expect(await reset).toMatchObject({ message: expect.stringContaining('upper') });
    expect(rig.condition).toBe('faulted');
  });
});

describe('an exception inside a tick', () => {
  async function broken(): Promise<{ rig: Rig; client: Client; mend: () => void }> {
    const { rig, client } = await busy();
    const spy = vi.spyOn(rig.servo('tail'), 'advance').mockImplementation(() => {
      throw new Error('a fault in the sums');
    });
    await rig.tick();
    return { rig, client, mend: () => spy.mockRestore() };
  }

  test('drops all power in that tick, is told once, and the loop goes on', async () => {
    const { rig } = await broken();
    expect(rig.condition).toBe('faulted');
    const value = (board: string, output: string) => rig.board(board).value.get(output);
    for (const [board, output] of [
      ['upper', 'head'],
      ['upper', 'halo'],
      ['lower', 'tail'],
      ['lower', 'toe'],
      ['lower', 'mist'],
      ['lower', 'sole'],
    ] as const)
      expect([output, value(board, output)]).toEqual([output, 0]);
    expect(value('upper', 'horn')).toBe(1);
    const beats = rig.telemetry.coreBeat;
    await rig.run(500);
    expect(rig.telemetry.coreBeat - beats).toBe(100);
    expect(rig.texts('fault')).toEqual(['the core failed: a fault in the sums']);
  });

  test('mended and reset, it wakes again', async () => {
    const { rig, client, mend } = await broken();
    mend();
    await rig.run(100);
    await client.call('reset');
    await client.call('wake');
    await rig.until(() => rig.condition === 'live', 5);
  });
});

test('a board that cannot be opened: open throws, and nothing is written', async () => {
  const upper = new Recorder();
  upper.failing.open = new Error('no such chip');
  await expect(Rig.open(prop(), { drivers: { upper } })).rejects.toThrow('no such chip');
  expect(upper.writes).toEqual([]);
});

test('close drops all power and frees the pins, though one board fails', async () => {
  const { rig, upper, lower } = await busy();
  rig.loop.stop();
  upper.failing.write = new Error('out');
  await rig.core.close();
  await settle();
  expect([lower.value.get('tail'), lower.value.get('mist'), lower.closed]).toEqual([0, 0, 1]);
  expect(upper.closed).toBe(1);
});

test('a fault while waking: what was awake parks, the rest stays limp', async () => {
  const p = prop();
  const rig = await Rig.open(p, { restored: restedAt(p, { head: 20, tail: 20, toe: 20 }) });
  const client = rig.client('desk');
  await client.call('lease.take');
  await client.call('wake');
  await rig.run(60);
  expect(['head', 'tail', 'toe'].map((name) => rig.servo(name).pulsing)).toEqual([
    true,
    true,
    false,
  ]);
  rig.board('upper').failing.sense = new Error('out');
  await rig.run(3000);
  expect(rig.condition).toBe('faulted');
  expect([rig.board('lower').value.get('tail'), rig.board('lower').value.get('toe')]).toEqual([
    pulseOf(0),
    0,
  ]);
});
