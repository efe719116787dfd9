import { describe, expect, test } from 'vitest';
import { CODES, Refusal } from '../../../src/shared/errors.ts';
import { begins, FAR, FAR_MS, isRunning, live, prop, running } from '../cue-stage.ts';
import { type Client, pulseOf, Rig } from '../rig.ts';

describe('several cues', () => {
  const cues = {
    nod: [
      { at: 0, move: { neck: FAR }, overS: 2, name: 'down' },
      { after: 'down', move: { neck: 0 }, overS: 2 },
    ],
    flap: [
      { at: 0, move: { wings: 30 }, overS: 2 },
      { at: 0, switch: { fan: 'on' } },
      { at: 3, move: { wings: 0 } },
    ],
    shake: { clash: 'refuse', steps: [{ at: 0, move: { neck: -20 } }] },
    start: {
      clash: 'take over',
      steps: [{ at: 0, move: { neck: -20, wing_left: 5 }, overS: 1 }],
    },
    nested: [{ at: 9, cue: 'shake' }],
  };

  test('that share no channel run at once', async () => {
    const { rig, client } = await running(cues, 'nod');
    await client.call('cue.run', { cue: 'flap' });
    const list = (await client.call('cue.list')).cues;
    expect([list.nod!.running, list.flap!.running, list.shake!.running]).toEqual([
      true,
      true,
      false,
    ]);
    await rig.run(6000);
    expect(rig.at('neck')).toBe(pulseOf(0));
    expect(rig.at('wing_left')).toBe(pulseOf(0));
    expect(rig.texts('cue')).toContain('cue nod is over');
    expect(rig.texts('cue')).toContain('cue flap is over');
  });

  test.each(['shake', 'nested'])('%s, which clashes, is refused with the names', async (cue) => {
    const { rig, client } = await running(cues, 'nod', 500);
    const refusal = await client.refused('cue.run', { cue });
    expect(refusal.code).toBe(CODES.condition);
    expect(refusal.message).toMatch(/nod, which is running/);
    expect(refusal.values).toMatchObject({ cue, running: ['nod'] });
    await rig.run(5000);
    expect(rig.texts('cue').at(-1)).toBe('cue nod is over');
  });

  test('one that takes over ends every cue it clashes with, and their other channels', async () => {
    const { rig, client } = await running(cues, 'nod', 500);
    await client.call('cue.run', { cue: 'flap' });
    await rig.run(500);
    await client.call('cue.run', { cue: 'start' });
    await rig.tick();
    expect(rig.on('fan')).toBe(false);
    expect(rig.servo('neck').targetDeg).toBe(-20);
    const right = rig.servo('wing_right');
    expect(right.targetDeg).toBeLessThan(30);
    await rig.run(5000);
    expect(rig.at('neck')).toBe(pulseOf(-20));
    expect(rig.at('wing_left')).toBe(pulseOf(5));
    expect(right.setpoint.pos).toBe(right.targetDeg);
    expect(rig.texts('cue')).toEqual(
      expect.arrayContaining([
        'cue nod stopped: cue start takes over',
        'cue flap stopped: cue start takes over',
      ]),
    );
  });

  test('one that is started again begins again', async () => {
    const { rig, client, log } = await running(cues, 'flap', 2500);
    await client.call('cue.run', { cue: 'flap' });
    await rig.run(2990);
    // By its first start it would have gone home after 3 s.
    expect(rig.at('wing_left')).toBe(pulseOf(30));
    await rig.run(1000);
    expect(rig.at('wing_left')).toBe(pulseOf(0));
    expect(begins(log, 'fan')).toHaveLength(1);
    expect(await isRunning(client, 'flap')).toBe(false);
  });

  test('cue.stop: its servos decelerate and hold, its relays open, its lights stay', async () => {
    const { rig, client } = await running(
      {
        all: [
          { at: 0, move: { neck: FAR }, overS: 2 },
          { at: 0, switch: { fan: 'on' } },
          { at: 0, dim: { glow: 1 } },
          { at: 1.5, switch: { bell: 'on' } },
        ],
      },
      'all',
      1000,
    );
    const { vel, pos } = rig.servo('neck').setpoint;
    expect(vel).toBeGreaterThan(1);
    expect(await client.call('cue.stop', { cue: 'all' })).toMatchObject({ running: false });
    await rig.tick();
    expect(rig.on('fan')).toBe(false);
    await rig.run(3000);
    // v^2 / 2a, at 600 deg/s2.
    expect(rig.servo('neck').setpoint.pos).toBeCloseTo(pos + vel ** 2 / 1200, 6);
    expect(rig.core.body.lamp('glow').value).toBe(1);
    expect(rig.on('bell')).toBe(false);
    expect(rig.condition).toBe('live');
  });

  test('stopping one that does not run changes nothing; an unknown one is no such thing', async () => {
    const { rig, client } = await running(cues, 'nod', 500);
    expect(await client.call('cue.stop', { cue: 'flap' })).toMatchObject({ running: false });
    expect(await isRunning(client, 'nod')).toBe(true);
    for (const method of ['cue.run', 'cue.stop'] as const) {
      const refusal = await client.refused(method, { cue: 'not' });
      expect(refusal.code).toBe(CODES.noSuchThing);
      expect(refusal.message).toBe('there is no cue not; did you mean nod?');
    }
    expect(rig.condition).toBe('live');
  });
});

describe('a command by hand', () => {
  const cues = {
    show: [
      { at: 0, move: { wings: 30 }, overS: 3 },
      { at: 0, move: { neck: FAR }, overS: 3 },
      { at: 0, switch: { fan: 'on', bell: 'on' } },
      { at: 0, dim: { glow: 1 }, fadeS: 3 },
      { at: 2, switch: { pump: 'on' } },
    ],
    other: [{ at: 0, move: { jaw: FAR }, overS: 3 }],
  };

  test.each([
    ['channel.move', { channel: 'neck', to: -20 }, 'neck'],
    ['channel.jog', { channel: 'neck', byDeg: -2 }, 'neck'],
    ['channel.switch', { channel: 'bell', on: true }, 'bell'],
    ['channel.dim', { channel: 'glow', to: 0.5, fadeS: 1 }, 'glow'],
    ['channel.identify', { channel: 'neck' }, 'neck'],
  ] as const)(
    '%s %j takes the channel over: its cue ends, another goes on',
    async (method, params, mine) => {
      const { rig, client } = await running(cues, 'show', 1000);
      await client.call('cue.run', { cue: 'other' });
      await rig.run(200);
      const wing = rig.servo('wing_left');
      const { pos, vel } = wing.setpoint;
      await client.call(method, params as never);
      const { plans, targetDeg } = rig.servo('neck');
      const { fades } = rig.core.body.lamp('glow');
      await rig.tick();
      expect(await isRunning(client, 'show')).toBe(false);
      expect(await isRunning(client, 'other')).toBe(true);
      expect(rig.texts('cue')).toContain('cue show stopped: desk took over a channel');
      expect(wing.targetDeg).toBeCloseTo(pos + vel ** 2 / 1200, 6);
      expect([rig.on('fan'), rig.on('bell')]).toEqual([false, mine === 'bell']);
      // What was commanded goes on as commanded.
      if (mine === 'neck')
        expect(rig.servo('neck')).toMatchObject({ plans, targetDeg, moving: true });
      else expect(rig.servo('neck').targetDeg).toBeLessThan(FAR);
      if (mine === 'glow') expect(rig.core.body.lamp('glow')).toMatchObject({ fades, target: 0.5 });
      await rig.run(5000);
      expect(rig.on('pump')).toBe(false);
      expect(rig.at('jaw')).toBe(pulseOf(FAR));
      if (method === 'channel.move') expect(rig.at('neck')).toBe(pulseOf(-20));
    },
  );

  test('a group, and a pose, take over as well', async () => {
    for (const take of [
      (client: Client) => client.call('group.move', { group: 'wings', to: 5 }),
      (client: Client) => client.call('pose.go', { pose: 'alert' }),
    ]) {
      const { rig, client } = await running(cues, 'show', 1000);
      await take(client);
      await rig.run(3000);
      expect(await isRunning(client, 'show')).toBe(false);
      expect(rig.on('pump')).toBe(false);
    }
    const { rig, client } = await running(cues, 'show', 1000);
    await client.call('pose.go', { pose: 'alert' });
    await rig.run(3000);
    expect(rig.at('neck')).toBe(pulseOf(FAR));
    expect(rig.on('fan')).toBe(true);
    expect(rig.on('bell')).toBe(false);
  });

  test.each([
    ['channel.move', { channel: 'neck', to: 90 }],
    ['channel.move', { channel: 'neck', to: 'nowhere' }],
    ['channel.jog', { channel: 'neck', byDeg: 9, beyondLimits: true }],
    ['channel.dim', { channel: 'glow', to: 2 }],
    ['channel.switch', { channel: 'neck', on: true }],
    ['group.move', { group: 'wings', to: -1 }],
    ['pose.go', { pose: 'nowhere' }],
  ] as const)('%s %j, refused, leaves the cue running', async (method, params) => {
    const { rig, client, log } = await running(cues, 'show', 1000);
    await client.refused(method, params as never);
    await rig.run(2500);
    expect(rig.at('neck')).toBe(pulseOf(FAR));
    expect(rig.at('wing_left')).toBe(pulseOf(30));
    expect(begins(log, 'pump')).toEqual([2000]);
  });

  test('on a channel of no running cue, ends none', async () => {
    const { rig, client } = await running(cues, 'show', 1000);
    await client.call('channel.move', { channel: 'jaw', to: 10 });
    await rig.run(1000);
    expect(await isRunning(client, 'show')).toBe(true);
  });
});

describe('when it ends', () => {
  const cues = {
    show: [
      { at: 0, move: { neck: FAR }, overS: 3 },
      { at: 0, switch: { fan: 'on' } },
      { at: 2, switch: { bell: 'on' } },
      { at: 2, move: { wings: 20 } },
      { at: 0, cue: 'loop', times: 'until stopped' },
    ],
    loop: [
      { at: 0.2, move: { jaw: { around: 0, spread: 20 } } },
      { at: 0.7, dim: { glow: 1 } },
    ],
  };
  const idle = { calm: { plays: [{ cue: 'show', everyS: [0.5, 1] }] } };

  const ENDINGS: Record<string, (rig: Rig, client: Client) => unknown> = {
    park: (_rig, client) => client.call('park'),
    'stop 0': (_rig, client) => client.call('stop', { category: 0 }),
    'stop 1': (_rig, client) => client.call('stop', { category: 1 }),
    'stop 2': (_rig, client) => client.call('stop', { category: 2 }),
    'stop by another session': (rig) => rig.client('guest').call('stop', { category: 2 }),
    'a closed link': (rig, client) => rig.commands.gone(client.session.id),
    'a silent link': (_rig, client) => {
      client.silent = true;
    },
    release: (_rig, client) => client.call('lease.release'),
    'release with grace': (_rig, client) => client.call('lease.release', { graceS: 10 }),
    'release with grace, and another holder': async (rig, client) => {
      await client.call('lease.release', { graceS: 10 });
      await rig.run(100);
      await rig.client('next').call('lease.take');
    },
    'a failure of the core': (rig) => rig.core.fail(new Error('a fault on purpose')),
    'a board that fails': (rig) => {
      rig.board().failing.write = new Error('no answer');
    },
  };

  /** Within half a second: signs of life are missed after 500 ms. */
  const SETTLED_MS = 700;

  test.each(
    Object.keys(ENDINGS).flatMap((ending) => [
      [ending, 'a cue'],
      [ending, 'idle'],
    ]),
  )('by %s during %s: nothing of it starts afterwards', async (ending, what) => {
    const { rig, client } = await live(cues, { idle });
    if (what === 'a cue') await client.call('cue.run', { cue: 'show' });
    else await client.call('idle.start', { idle: 'calm' });
    await rig.until(() => rig.on('fan'), 3);
    await rig.run(500);
    await ENDINGS[ending]!(rig, client);
    const graced = ending.startsWith('release with grace');
    await rig.run(SETTLED_MS);
    expect(rig.on('fan')).toBe(false);
    const list = await rig.client('guest').call('cue.list');
    expect(JSON.stringify(list)).not.toContain('"running":true');
    expect(rig.condition === 'live').toBe(graced);
    const { length } = rig.entries.filter(({ text }) => text.startsWith('cue show runs'));
    let stirs = 0;
    rig.afterTick = () => {
      const { relays } = rig.core.body;
      if (relays.some((one) => one.on)) stirs++;
      // On the way home by itself; standing still in the grace.
      if (rig.condition === 'live' && rig.core.body.servos.some((one) => one.moving)) stirs++;
      if (rig.core.body.lamp('glow').target > 0 && rig.condition === 'parked') stirs++;
    };
    await rig.run(graced ? 5000 : 30_000);
    expect(stirs).toBe(0);
    expect(rig.texts('cue').filter((text) => text.startsWith('cue show runs'))).toHaveLength(
      length,
    );
    if (!graced) {
      const { writes } = rig;
      const count = writes.length;
      await rig.run(5000);
      expect(writes).toHaveLength(count);
    }
  });

  test('after reset and wake it does not come back', async () => {
    const { rig, client } = await running(cues, 'show', 500);
    await client.call('stop', { category: 2 });
    await rig.run(1000);
    await client.call('reset');
    await client.call('wake', { wait: false });
    await rig.until(() => rig.condition === 'live');
    const { length } = rig.writes;
    await rig.run(10_000);
    expect(rig.writes).toHaveLength(length);
    expect(await isRunning(client, 'show')).toBe(false);
  });

  test.each(['parked', 'waking', 'stopped'])('in %s no cue is run', async (condition) => {
    const rig = await Rig.open(prop(cues));
    const client = rig.client('desk');
    await client.call('lease.take');
    if (condition === 'waking') await client.call('wake');
    if (condition === 'stopped') await client.call('stop', { category: 0 });
    const refusal = await client.refused('cue.run', { cue: 'show' });
    expect(refusal.code).toBe(CODES.condition);
    expect(await isRunning(client, 'show')).toBe(false);
  });
});

describe('whoever waits for a cue', () => {
  const cues = {
    nod: [
      { at: 0, move: { neck: FAR }, name: 'down' },
      { after: 'down', move: { neck: 0 } },
    ],
  };

  test('is answered at its end', async () => {
    const { rig, client } = await live(cues);
    let answer: object | undefined;
    void client.call('cue.run', { cue: 'nod', wait: true }).then((result) => {
      answer = result;
    });
    await rig.run(2 * FAR_MS - 20);
    expect(answer).toBeUndefined();
    await rig.run(40);
    expect(answer).toMatchObject({ running: false });
    expect(rig.at('neck')).toBe(pulseOf(0));
  });

  test('without waiting, the answer comes at once, and says that it runs', async () => {
    const { client } = await live(cues);
    expect(await client.call('cue.run', { cue: 'nod' })).toMatchObject({ running: true });
  });

  test.each<[string, (rig: Rig, client: Client) => unknown]>([
    ['cue.stop', (_rig, client) => client.call('cue.stop', { cue: 'nod' })],
    [
      'a command by hand',
      (_rig, client) => client.call('channel.move', { channel: 'neck', to: 1 }),
    ],
    ['park', (_rig, client) => client.call('park')],
    ['stop', (_rig, client) => client.call('stop', { category: 1 })],
    ['a closed link', (rig, client) => rig.commands.gone(client.session.id)],
    ['another start', (_rig, client) => client.call('cue.run', { cue: 'nod' })],
  ])('is refused when it is ended early, by %s', async (_what, end) => {
    const { rig, client } = await live(cues);
    const waiting = client.call('cue.run', { cue: 'nod', wait: true }).catch((error) => error);
    await rig.run(200);
    await end(rig, client);
    await rig.run(20);
    const refusal = await waiting;
    expect(refusal).toBeInstanceOf(Refusal);
    expect(refusal.message).toMatch(/^cue nod was ended early/);
    expect(refusal.code).toBe(CODES.condition);
  });
});

test('cue.list names every cue with how long it takes, idle behaviours and triggers', async () => {
  const { client } = await live(
    {
      nod: [{ at: 1, move: { neck: FAR } }],
      ever: [{ at: 0, cue: 'nod', times: 'until stopped' }],
    },
    {
      idle: { calm: { plays: [{ cue: 'nod', everyS: [5, 9] }] } },
      triggers: { noon: { daily: '12:00', cue: 'nod' } },
    },
  );
  expect(await client.call('cue.list')).toEqual({
    cues: {
      nod: { running: false, durationS: 1.4 },
      ever: { running: false, durationS: null },
    },
    idle: { calm: { running: false } },
    triggers: { names: ['noon'], armed: false },
  });
});
