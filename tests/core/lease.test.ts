import { describe, expect, test } from 'vitest';
import { CODES, Refusal } from '../../src/shared/errors.ts';
import { type Client, lamp, makeProp, Rig, relay, restedAt, servo } from './rig.ts';

const prop = (over: Record<string, unknown> = {}) =>
  makeProp(
    { neck: servo(), jaw: servo(), fan: relay(), glow: lamp() },
    { groups: { head: ['neck', 'jaw'] }, ...over },
  );

describe('taking and releasing', () => {
  test('one session holds it; another is refused with the name of the holder', async () => {
    const { rig } = await Rig.live(prop());
    const guest = rig.client('guest');
    const refusal = await guest.refused('lease.take');
    expect(refusal.code).toBe(CODES.notHolder);
    expect(refusal.toObject().data).toMatchObject({ holder: 'desk' });
    expect(refusal.message).toContain('desk');
  });

  test('the holder may take it again', async () => {
    const { client } = await Rig.live(prop());
    await expect(client.call('lease.take')).resolves.toEqual({ holder: 'desk' });
  });

  test('commands of a session that does not hold it are refused, whoever holds it', async () => {
    const { rig, client } = await Rig.live(prop());
    const guest = rig.client('guest');
    const held = await guest.refused('channel.move', { channel: 'neck', to: 10 });
    expect([held.code, held.values.holder]).toEqual([CODES.notHolder, 'desk']);
    await client.call('lease.release', { graceS: 10 });
    const free = await guest.refused('channel.move', { channel: 'neck', to: 10 });
    expect([free.code, free.values.holder]).toEqual([CODES.notHolder, null]);
    expect(rig.servo('neck').targetDeg).toBe(0);
  });

  test('only the holder can release it', async () => {
    const { rig } = await Rig.live(prop());
    expect((await rig.client('guest').refused('lease.release')).code).toBe(CODES.notHolder);
  });

  test('released without grace, the prop parks at once', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 20, wait: false });
    await rig.run(300);
    await client.call('lease.release');
    expect(rig.condition).toBe('parking');
    await rig.until(() => rig.condition === 'parked', 5);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test('released with grace, it stays live and still, then parks', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 40, wait: false });
    await rig.run(200);
    await client.call('lease.release', { graceS: 3 });
    client.silent = true;
    await rig.run(500);
    const still = { deg: rig.servo('neck').setpoint.pos, writes: rig.writes.length };
    expect(rig.condition).toBe('live');
    expect(rig.servo('neck').moving).toBe(false);
    await rig.run(2490);
    expect({ deg: rig.servo('neck').setpoint.pos, writes: rig.writes.length }).toEqual(still);
    expect(rig.condition).toBe('live');
    await rig.run(20);
    expect(rig.condition).toBe('parking');
    await rig.until(() => rig.condition === 'parked', 5);
  });

  test('a next holder within the grace finds it live', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('lease.release', { graceS: 2 });
    await rig.run(1900);
    const guest = rig.client('guest');
    await guest.call('lease.take');
    await rig.run(5000);
    expect(rig.condition).toBe('live');
  });

  test('the next holder counts as alive from the taking on', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('lease.release', { graceS: 2 });
    const guest = rig.client('guest');
    await guest.call('lease.take');
    guest.silent = true;
    await rig.run(490);
    expect(rig.condition).toBe('live');
    await rig.run(110);
    expect(rig.texts('condition').at(-2)).toBe('parking: link lost');
    expect(rig.condition).toBe('parked');
  });

  test('a grace that is not a number is refused: it would never end', async () => {
    const { rig, client } = await Rig.live(prop());
    for (const graceS of [Number.NaN, Number.POSITIVE_INFINITY])
      expect((await client.refused('lease.release', { graceS })).code).toBe(CODES.invalidParams);
    expect(rig.core.lease.holder?.client).toBe('desk');
  });
});

describe('a lost link', () => {
  test.each([
    [100, 0],
    [100, 3.7],
    [250, 1.3],
    [500, 4.999],
    [500, 0.001],
    [2000, 2.5],
    [60_000, 1],
  ])('timeout %d ms, last sign of life %d ms after a tick', async (timeoutMs, phaseMs) => {
    const { rig, client } = await Rig.live(prop({ link: { timeoutMs, onLoss: 'park' } }));
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(600);
    client.silent = true;
    rig.clock.advance(phaseMs);
    rig.telemetry.markLife(client.session.slot);
    const lastMs = rig.clock.nowMs();
    await rig.until(() => rig.condition !== 'live', 70);
    const parkedAfterMs = rig.clock.nowMs() - lastMs;
    expect(rig.condition).toBe('parking');
    expect(parkedAfterMs).toBeGreaterThan(timeoutMs);
    expect(parkedAfterMs).toBeLessThanOrEqual(timeoutMs + 100);
    expect(rig.lost).toEqual([client.session.id]);
    expect(rig.texts('link lost')).toHaveLength(1);
  });

  test('signs of life just within the timeout keep it for as long as they come', async () => {
    const { rig, client } = await Rig.live(prop());
    client.silent = true;
    for (let i = 0; i < 40; i++) {
      rig.telemetry.markLife(client.session.slot);
      await rig.run(495);
    }
    expect(rig.condition).toBe('live');
  });

  test('closed: parking begins at once', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(300);
    rig.commands.gone(client.session.id);
    expect(rig.condition).toBe('parking');
    await rig.until(() => rig.condition === 'parked', 5);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test('an observer that goes away changes nothing', async () => {
    const { rig } = await Rig.live(prop());
    const guest = rig.client('guest');
    rig.commands.gone(guest.session.id);
    await rig.run(100);
    expect(rig.condition).toBe('live');
  });

  test('the old session is void afterwards, for every request', async () => {
    const { rig, client } = await Rig.live(prop());
    client.silent = true;
    await rig.run(700);
    for (const method of ['lease.take', 'wake', 'park', 'lease.release'] as const)
      expect((await client.refused(method)).code).toBe(CODES.notAuthorised);
  });

  test('a new holder takes over after parking has begun; motion needs wake again', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(400);
    client.silent = true;
    await rig.run(600);
    expect(rig.condition).toBe('parking');
    const next = rig.client('next');
    await next.call('lease.take');
    expect((await next.refused('channel.move', { channel: 'neck', to: 10 })).code).toBe(
      CODES.condition,
    );
    expect((await next.refused('wake')).code).toBe(CODES.condition);
    await rig.until(() => rig.condition === 'parked', 5);
    expect((await next.refused('channel.move', { channel: 'neck', to: 10 })).code).toBe(
      CODES.condition,
    );
    await next.call('wake');
    await rig.until(() => rig.condition === 'live', 5);
    await next.call('channel.move', { channel: 'neck', to: 10 });
    await rig.run(600);
    expect(rig.servo('neck').setpoint.pos).toBe(10);
  });

  test('lost while parked or stopped, nothing moves', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(300);
    await client.call('stop', { category: 2 });
    await rig.run(300);
    const { length } = rig.writes;
    client.silent = true;
    await rig.run(2000);
    expect(rig.condition).toBe('stopped');
    expect(rig.writes).toHaveLength(length);
    expect(rig.lost).toHaveLength(1);
  });
});

const BUSY: Record<string, (client: Client, rig: Rig) => Promise<unknown>> = {
  'a group move': (client) => client.call('group.move', { group: 'head', to: 40, overS: 5 }),
  'a jog': (client) => client.call('channel.jog', { channel: 'neck', byDeg: 30 }),
  'a jog beyond the limits': async (client, rig) => {
    await client.call('channel.move', { channel: 'neck', to: 39 });
    await rig.run(1000);
    await client.call('channel.jog', { channel: 'neck', byDeg: 5, beyondLimits: true });
    await rig.run(200);
    expect(rig.servo('neck').beyond).toBe(true);
  },
  'an identify of a servo': (client) => client.call('channel.identify', { channel: 'neck' }),
  'an identify of a lamp': (client) => client.call('channel.identify', { channel: 'glow' }),
  'an identify of a relay': (client) => client.call('channel.identify', { channel: 'fan' }),
  'a closed relay with a timer': (client) =>
    client.call('channel.switch', { channel: 'fan', on: true, forS: 2 }),
  'a long fade': (client) => client.call('channel.dim', { channel: 'glow', to: 1, fadeS: 30 }),
};

describe.each(Object.keys(BUSY))('lost during %s', (what) => {
  test('it parks and ends parked, and nothing happens afterwards', async () => {
    const { rig, client } = await Rig.live(prop());
    await BUSY[what]!(client, rig);
    await rig.run(100);
    client.silent = true;
    await rig.until(() => rig.condition !== 'live', 1);
    expect(rig.texts('condition')).toContain('parking: link lost');
    await rig.until(() => rig.condition === 'parked', 5);
    const { length } = rig.writes;
    for (const name of ['neck', 'jaw']) expect(rig.servo(name).setpoint.pos).toBe(0);
    expect(rig.on('fan')).toBe(false);
    expect(rig.at('glow')).toBe(0);
    await rig.run(5000);
    expect(rig.writes).toHaveLength(length);
  });
});

test('lost while waking: it parks, and what was not awake yet stays limp', async () => {
  const p = prop();
  const rig = await Rig.open(p, { restored: restedAt(p, { neck: 20 }) });
  const client = rig.client('desk');
  await client.call('lease.take');
  await client.call('wake');
  await rig.tick();
  expect([rig.servo('neck').pulsing, rig.servo('jaw').pulsing]).toEqual([true, false]);
  rig.commands.gone(client.session.id);
  expect(rig.condition).toBe('parking');
  await rig.until(() => rig.condition === 'parked', 5);
  expect(rig.servo('neck').setpoint.pos).toBe(0);
  expect(rig.at('jaw')).toBe(0);
});

describe('hold, then park', () => {
  const held = () => prop({ link: { timeoutMs: 500, onLoss: 'hold-then-park', holdS: 4 } });

  async function lose(): Promise<Rig> {
    const { rig, client } = await Rig.live(held());
    await client.call('channel.switch', { channel: 'fan', on: true });
    await client.call('channel.move', { channel: 'neck', to: 30, overS: 2 });
    await rig.run(1000);
    rig.commands.gone(client.session.id);
    return rig;
  }

  test('it decelerates and holds, relays open at once, then it parks', async () => {
    const rig = await lose();
    await rig.tick();
    expect(rig.on('fan')).toBe(false);
    expect(rig.condition).toBe('parking');
    await rig.run(500);
    const { pos } = rig.servo('neck').setpoint;
    expect(pos).toBeGreaterThan(5);
    await rig.run(3400);
    expect(rig.servo('neck').setpoint.pos).toBe(pos);
    await rig.run(200);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(pos);
    await rig.until(() => rig.condition === 'parked', 3);
  });

  test('a park that is asked for ends the hold', async () => {
    const rig = await lose();
    await rig.run(500);
    await rig.client('guest').call('park');
    await rig.until(() => rig.condition === 'parked', 1);
  });

  test('leaving on purpose has no hold', async () => {
    const { rig, client } = await Rig.live(held());
    await client.call('channel.move', { channel: 'neck', to: 30 });
    await rig.run(500);
    await client.call('lease.release');
    await rig.until(() => rig.condition === 'parked', 1);
  });
});

describe('a main thread that hangs', () => {
  test('for longer than the timeout, in one tick: it parks, though the holder is alive', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 40, overS: 4 });
    await rig.run(1000);
    const before = rig.servo('neck').setpoint.pos;
    await rig.stall(800);
    expect(rig.condition).toBe('parking');
    expect(rig.texts('stalled')).toHaveLength(1);
    // It resumes where it was: 0.8 s of motion are not caught up with in one leap.
    expect(Math.abs(rig.servo('neck').setpoint.pos - before)).toBeLessThan(1);
    await rig.until(() => rig.condition === 'parked', 5);
  });

  test('for less than the timeout: the show goes on', async () => {
    const { rig } = await Rig.live(prop());
    await rig.stall(300);
    await rig.run(100);
    expect(rig.condition).toBe('live');
  });
});

describe('whoever waits for the end of a move is always answered', () => {
  const ENDINGS: Record<string, (rig: Rig, client: Client) => unknown> = {
    'the link is lost': (rig, client) => rig.commands.gone(client.session.id),
    'the lease is handed over': (_rig, client) => client.call('lease.release', { graceS: 5 }),
    'the prop is parked': (_rig, client) => client.call('park'),
    'a stop 0': (_rig, client) => client.call('stop', { category: 0 }),
    'a stop 1': (_rig, client) => client.call('stop', { category: 1 }),
    'a stop 2': (_rig, client) => client.call('stop', { category: 2 }),
    'another move': (_rig, client) => client.call('channel.move', { channel: 'neck', to: -5 }),
    'a fault': (rig) => rig.core.fail(new Error('on purpose')),
  };
  test.each(Object.keys(ENDINGS))('%s', async (what) => {
    const { rig, client } = await Rig.live(prop());
    const outcome = client.call('group.move', { group: 'head', to: 40, wait: true }).then(
      () => 'arrived',
      (error) => error,
    );
    await rig.run(200);
    await ENDINGS[what]!(rig, client);
    await rig.run(50);
    const error = await Promise.race([outcome, Promise.resolve('still waiting')]);
    expect(error).toBeInstanceOf(Refusal);
    expect((error as Refusal).code).toBe(CODES.condition);
  });

  test('arrival', async () => {
    const { rig, client } = await Rig.live(prop());
    let result: unknown;
    void client.call('group.move', { group: 'head', to: 40, wait: true }).then((value) => {
      result = value;
    });
    await rig.run(500);
    expect(result).toBeUndefined();
    await rig.run(200);
    expect(result).toMatchObject({ durationS: expect.closeTo(40 / 120 + 120 / 600, 2) });
  });
});

describe('a half-open link', () => {
  test.each([
    ['sends but shows nothing to have been received', 'markSent'],
    ['receives but sends nothing', 'markReceived'],
  ] as const)('of a holder that %s parks in time', async (_what, mark) => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'neck', to: 20 });
    await rig.run(600);
    client.silent = true;
    rig.telemetry.markLife(client.session.slot);
    const lastMs = rig.clock.nowMs();
    while (rig.condition === 'live' && rig.clock.nowMs() - lastMs < 5000) {
      rig.telemetry[mark](client.session.slot);
      await rig.run(50);
    }
    expect(rig.condition).toBe('parking');
    expect(rig.clock.nowMs() - lastMs).toBeLessThanOrEqual(600);
    expect(rig.lost).toEqual([client.session.id]);
  });
});
