import { afterEach, describe, expect, test, vi } from 'vitest';
import { CODES } from '../../src/shared/errors.ts';
import {
  type Client,
  makeProp,
  pulseOf,
  Rig,
  type RigOptions,
  relay,
  restedAt,
  servo,
  TICK_MS,
} from './rig.ts';

const DEBOUNCE_MS = 30;
const contact = (pin: number, over = {}) => ({
  input: { board: 'main', pin, debounceMs: DEBOUNCE_MS, ...over },
});

const prop = (triggers: Record<string, object>, over: Record<string, unknown> = {}) =>
  makeProp(
    { neck: servo({ limitsDeg: [-30, 30] }), jaw: servo(), fan: relay() },
    {
      cues: {
        nod: [
          { at: 0, move: { neck: 24 }, overS: 1, name: 'down' },
          { at: 0, switch: { fan: 'on' }, forS: 2 },
          { after: 'down', move: { neck: 0 }, overS: 1 },
        ],
        chew: [{ at: 0, move: { jaw: 20 } }],
        shake: [{ at: 0, move: { neck: -24 }, overS: 2 }],
      },
      triggers,
      ...over,
    },
  );

/** A rig whose daemon has started, at rest. */
async function begun(
  triggers: Record<string, object>,
  options: RigOptions = {},
  over: Record<string, unknown> = {},
) {
  const one = prop(triggers, over);
  const rig = await Rig.open(one, { restored: restedAt(one), ...options });
  rig.core.triggers.begin();
  await rig.tick();
  return rig;
}

/** Live, with somebody in control who has armed the triggers. */
async function armed(triggers: Record<string, object>) {
  const rig = await begun(triggers);
  const client = rig.client('desk');
  await rig.wake(client);
  await client.call('trigger.arm', { armed: true });
  return { rig, client };
}

const runs = (rig: Rig, cue = 'nod') =>
  rig.texts('cue').filter((text) => text === `cue ${cue} runs`).length;
const press = (rig: Rig, name = 'door') => rig.board().level.set(name, 0);
const letGo = (rig: Rig, name = 'door') => rig.board().level.set(name, 1);

afterEach(() => vi.restoreAllMocks());

describe('a contact', () => {
  test('fires once it has been steady for its debounce time, and once only', async () => {
    const { rig } = await armed({ door: { ...contact(30), cue: 'nod' } });
    press(rig);
    await rig.run(DEBOUNCE_MS);
    expect(runs(rig)).toBe(0);
    await rig.run(TICK_MS);
    expect(runs(rig)).toBe(1);
    await rig.run(60_000);
    expect(runs(rig)).toBe(1);
    letGo(rig);
    await rig.run(60_000);
    expect(runs(rig)).toBe(1);
    press(rig);
    await rig.run(DEBOUNCE_MS + TICK_MS);
    expect(runs(rig)).toBe(2);
    expect(rig.entries.findLast(({ text }) => text === 'cue nod runs')!.who).toBe('trigger door');
  });

  test('bounces that are shorter do not fire, nor while it opens', async () => {
    const { rig } = await armed({ door: { ...contact(30), cue: 'nod' } });
    for (const ms of [5, 10, 25, 30, 20, 5, 30]) {
      press(rig);
      await rig.run(ms);
      letGo(rig);
      await rig.run(ms);
    }
    await rig.run(5000);
    expect(runs(rig)).toBe(0);
    press(rig);
    await rig.run(100);
    expect(runs(rig)).toBe(1);
    for (const ms of [5, 10, 25, 30]) {
      letGo(rig);
      await rig.run(ms);
      press(rig);
      await rig.run(ms);
    }
    await rig.run(5000);
    expect(runs(rig)).toBe(1);
  });

  test('normally closed: it fires when it opens', async () => {
    const { rig } = await armed({ door: { ...contact(30, { normallyClosed: true }), cue: 'nod' } });
    await rig.run(1000);
    expect(runs(rig)).toBe(0);
    letGo(rig);
    await rig.run(DEBOUNCE_MS + TICK_MS);
    expect(runs(rig)).toBe(1);
    press(rig);
    await rig.run(1000);
    expect(runs(rig)).toBe(1);
  });

  test.each([0, DEBOUNCE_MS])(
    'closed already when the daemon starts, it is no news (%d ms)',
    async (debounceMs) => {
      const one = prop({ door: { ...contact(30, { debounceMs }), cue: 'nod', unattended: true } });
      const rig = await Rig.open(one, { restored: restedAt(one) });
      press(rig);
      rig.core.triggers.begin();
      await rig.run(20_000);
      expect(runs(rig)).toBe(0);
      expect(rig.condition).toBe('parked');
      letGo(rig);
      await rig.run(1000);
      expect(runs(rig)).toBe(0);
      press(rig);
      await rig.run(3000);
      expect(runs(rig)).toBe(1);
    },
  );

  test('before the daemon has said that it starts, nothing fires', async () => {
    const one = prop({ door: { ...contact(30), cue: 'nod', unattended: true } });
    const rig = await Rig.open(one, { restored: restedAt(one) });
    await rig.run(100);
    press(rig);
    await rig.run(5000);
    expect(rig.condition).toBe('parked');
    expect(rig.texts('refused')).toEqual([]);
  });

  test('on a board that fails, it fires nothing, not even what changed meanwhile', async () => {
    const rig = await begun({ door: { ...contact(30), cue: 'nod', unattended: true } });
    rig.board().failing.read = new Error('no answer');
    await rig.run(100);
    expect(rig.condition).toBe('faulted');
    press(rig);
    await rig.run(1000);
    rig.board().failing = {};
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('reset');
    await rig.wake(client);
    await client.call('lease.release');
    await rig.run(5000);
    expect(rig.condition).toBe('parked');
    expect(runs(rig)).toBe(0);
    letGo(rig);
    await rig.run(1000);
    press(rig);
    await rig.run(3000);
    expect(runs(rig)).toBe(1);
  });
});

describe('a time of day', () => {
  const NOON = new Date(2026, 2, 3, 12, 0, 0).getTime();
  const DAY_MS = 86_400_000;

  /** Begun `beforeMs` before noon of that day; `set` puts the wall clock forward (ms). */
  async function clock(beforeMs: number, daily = '12:00') {
    let shiftMs = 0;
    const wall = vi.fn<() => number>();
    const one = prop({ noon: { daily, cue: 'nod', unattended: true } });
    const rig = await Rig.open(one, { restored: restedAt(one) });
    const startMs = rig.clock.nowMs();
    wall.mockImplementation(() => NOON - beforeMs + shiftMs + rig.clock.nowMs() - startMs);
    vi.spyOn(rig.clock, 'wallMs').mockImplementation(wall);
    rig.core.triggers.begin();
    const set = (byMs: number) => {
      shiftMs += byMs;
    };
    return { rig, set };
  }

  test('fires when it is reached, in that very tick, and once', async () => {
    const { rig } = await clock(10_000);
    await rig.run(10_000 - TICK_MS);
    expect(rig.condition).toBe('parked');
    await rig.tick();
    expect(rig.condition).toBe('waking');
    await rig.run(20_000);
    expect(runs(rig)).toBe(1);
    expect(rig.condition).toBe('parked');
  });

  test('with seconds', async () => {
    const { rig } = await clock(1000, '12:00:05');
    await rig.run(5000);
    expect(rig.condition).toBe('parked');
    await rig.run(1000);
    expect(rig.condition).not.toBe('parked');
  });

  test('every day again', async () => {
    const { rig, set } = await clock(10_000);
    for (let day = 1; day <= 3; day++) {
      await rig.run(40_000);
      expect(runs(rig)).toBe(day);
      // On to a minute before the next noon, as if the night were over.
      set(NOON + day * DAY_MS - 10_000 - rig.clock.wallMs());
      await rig.run(100);
    }
  });

  test('does not fire when the clock is set past it, forward or back', async () => {
    for (const byMs of [60_000, DAY_MS, -DAY_MS, 10_500]) {
      const { rig, set } = await clock(10_000);
      await rig.run(100);
      // To 11:59:50.1 and a minute, or the same time of another day; the last lands just behind noon.
      set(byMs);
      await rig.run(5000);
      expect(runs(rig), String(byMs)).toBe(0);
    }
  });

  test('set back by a day just after it has fired, it does not fire at once', async () => {
    const { rig, set } = await clock(1000);
    await rig.run(1500);
    expect(rig.condition).not.toBe('parked');
    set(-DAY_MS);
    await rig.run(30_000);
    expect(runs(rig)).toBe(1);
  });

  test('set back by a little after it has fired, it does not fire twice', async () => {
    const { rig, set } = await clock(1000);
    await rig.run(20_000);
    expect(rig.condition).toBe('parked');
    set(-20_000);
    await rig.run(60_000);
    expect(runs(rig)).toBe(1);
    expect(rig.texts('refused')).toEqual([]);
  });

  test('started again right after it, the daemon does not fire it once more', async () => {
    const { rig } = await clock(-1000);
    await rig.run(20_000);
    expect(runs(rig)).toBe(0);
  });
});

describe('the start, and messages', () => {
  test('the start fires once, when the daemon has started', async () => {
    const rig = await begun({ boot: { start: true, cue: 'nod', unattended: true } });
    expect(rig.condition).toBe('waking');
    await rig.run(60_000);
    expect(runs(rig)).toBe(1);
    expect(rig.condition).toBe('parked');
  });

  test('the start of a prop that must not wake by itself is told, and nothing moves', async () => {
    const rig = await begun({ boot: { start: true, cue: 'nod' } });
    const { length } = rig.writes;
    await rig.run(10_000);
    expect(rig.condition).toBe('parked');
    expect(rig.writes).toHaveLength(length);
    expect(rig.texts('refused')).toEqual([
      'cue nod: nobody has control, and it may not run unattended',
    ]);
  });

  test('an OSC message fires the triggers of its very address', async () => {
    const { rig } = await armed({
      one: { osc: '/owl/nod', cue: 'nod' },
      two: { osc: '/owl/chew', cue: 'chew' },
    });
    for (const address of ['/owl/nodd', '/owl', '/owl/nod/', '/OWL/nod', '', '/owl/*'])
      rig.core.triggers.osc(address);
    await rig.run(1000);
    expect(runs(rig)).toBe(0);
    rig.core.triggers.osc('/owl/nod');
    await rig.run(1000);
    expect([runs(rig), runs(rig, 'chew')]).toEqual([1, 0]);
  });
});

test('a flood of OSC messages that are refused is counted, and washes nothing away', async () => {
  const prop = makeProp(
    { lid: servo() },
    {
      cues: { nod: [{ at: 0, move: { lid: 10 } }] },
      triggers: { one: { osc: '/one', cue: 'nod' }, two: { osc: '/two', cue: 'nod' } },
    },
  );
  const { rig, client } = await Rig.live(prop);
  await client.call('channel.move', { channel: 'lid', to: 5 });
  await rig.run(1000);
  // More than the journal keeps.
  for (let i = 0; i < 12_000; i++) rig.core.triggers.osc(i % 2 === 0 ? '/one' : '/two');
  const entries = rig.core.journal.read(0, Number.POSITIVE_INFINITY);
  expect(entries.some(({ what }) => what === 'channel.move')).toBe(true);
  const refused = entries.filter(({ what }) => what === 'refused');
  expect(refused.map(({ who, count }) => [who, count])).toEqual([
    ['trigger one', 6000],
    ['trigger two', 6000],
  ]);
});

describe('with somebody in control', () => {
  const triggers = { call: { osc: '/nod', cue: 'nod', unattended: true } };

  test('it takes effect only while they have armed the triggers', async () => {
    const { rig, client } = await armed(triggers);
    rig.core.triggers.osc('/nod');
    await rig.run(3000);
    expect(runs(rig)).toBe(1);
    await client.call('trigger.arm', { armed: false });
    rig.core.triggers.osc('/nod');
    await rig.run(3000);
    expect(runs(rig)).toBe(1);
    expect(rig.texts('refused')).toEqual([
      'cue nod: desk has control and has not armed the triggers',
    ]);
    const [entry] = rig.entries.filter(({ what }) => what === 'refused');
    expect(entry).toMatchObject({ who: 'trigger call', values: { trigger: 'call', cue: 'nod' } });
    expect(rig.condition).toBe('live');
  });

  test('armed, it wakes nothing', async () => {
    const { rig, client } = await armed(triggers);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    rig.core.triggers.osc('/nod');
    await rig.run(5000);
    expect(rig.condition).toBe('parked');
    expect(runs(rig)).toBe(0);
    expect(rig.texts('refused')).toHaveLength(1);
  });

  test('the next holder finds them disarmed', async () => {
    const { rig, client } = await armed(triggers);
    await client.call('lease.release', { graceS: 60 });
    const next = rig.client('next');
    await next.call('lease.take');
    expect((await next.call('cue.list')).triggers).toEqual({ names: ['call'], armed: false });
    rig.core.triggers.osc('/nod');
    await rig.run(3000);
    expect(runs(rig)).toBe(0);
  });

  test('in the grace between two holders it starts nothing', async () => {
    const { rig, client } = await armed(triggers);
    await client.call('lease.release', { graceS: 60 });
    rig.core.triggers.osc('/nod');
    await rig.run(3000);
    expect(runs(rig)).toBe(0);
    expect(rig.texts('refused')).toEqual(['cue nod: the prop is live, not parked']);
  });

  test('a cue that clashes with a running one is refused and told', async () => {
    const { rig, client } = await armed(triggers);
    await client.call('cue.run', { cue: 'shake' });
    await rig.run(100);
    rig.core.triggers.osc('/nod');
    await rig.run(3000);
    expect(rig.texts('refused')).toEqual([
      expect.stringMatching(/^cue nod: cue nod shares channels with shake, which is running/),
    ]);
    expect(rig.at('neck')).toBe(pulseOf(-24));
  });

  test('fired again, its cue begins again', async () => {
    const { rig } = await armed(triggers);
    rig.core.triggers.osc('/nod');
    await rig.run(500);
    rig.core.triggers.osc('/nod');
    await rig.run(500);
    expect(runs(rig)).toBe(2);
    expect(rig.texts('cue')).toContain('cue nod stopped: it begins again');
  });
});

describe('unattended', () => {
  const triggers = {
    call: { osc: '/nod', cue: 'nod', unattended: true },
    other: { osc: '/chew', cue: 'chew', unattended: true },
    tame: { osc: '/tame', cue: 'chew' },
  };

  /** Waking, or running its cue, by a trigger. */
  async function atWork(during: 'waking' | 'the cue') {
    const rig = await begun(triggers);
    rig.core.triggers.osc('/nod');
    await rig.tick();
    if (during === 'the cue') {
      await rig.until(() => rig.condition === 'live', 5);
      await rig.run(500);
      expect(rig.on('fan')).toBe(true);
    } else expect(rig.condition).toBe('waking');
    return rig;
  }

  test('it wakes the prop, runs its cue, and parks it again; silence is not a lost link', async () => {
    const rig = await begun(triggers);
    const seen: string[] = [];
    rig.afterTick = () => {
      if (seen.at(-1) !== rig.condition) seen.push(rig.condition);
    };
    rig.core.triggers.osc('/nod');
    await rig.run(30_000);
    expect(seen).toEqual(['waking', 'live', 'parking', 'parked']);
    expect(rig.texts('link lost')).toEqual([]);
    expect(rig.texts('cue')).toEqual(['cue nod runs', 'cue nod is over']);
    expect(rig.at('neck')).toBe(pulseOf(0));
    expect(rig.core.lease.holder).toBeUndefined();
    // And again.
    rig.core.triggers.osc('/nod');
    await rig.run(30_000);
    expect(runs(rig)).toBe(2);
    expect(rig.condition).toBe('parked');
  });

  test('one that may not is refused and told: nothing moves', async () => {
    const rig = await begun(triggers);
    const { length } = rig.writes;
    rig.core.triggers.osc('/tame');
    await rig.run(10_000);
    expect(rig.writes).toHaveLength(length);
    expect(rig.condition).toBe('parked');
    expect(rig.texts('refused')).toEqual([
      'cue chew: nobody has control, and it may not run unattended',
    ]);
  });

  test.each(['waking', 'the cue'] as const)(
    'during %s a person takes over: the cue ends, the prop is still and live',
    async (during) => {
      const rig = await atWork(during);
      const client = rig.client('desk');
      await client.call('lease.take');
      await rig.until(() => rig.condition === 'live', 5);
      await rig.run(1000);
      const { length } = rig.writes;
      await rig.run(60_000);
      expect(rig.writes).toHaveLength(length);
      expect(rig.condition).toBe('live');
      expect(rig.on('fan')).toBe(false);
      expect(rig.core.lease.holder!.client).toBe('desk');
      if (during === 'the cue') expect(rig.servo('neck').setpoint.pos).toBeGreaterThan(0);
      // It is theirs: they command, and the trigger is disarmed.
      await client.call('channel.move', { channel: 'neck', to: 10 });
      rig.core.triggers.osc('/nod');
      await rig.run(2000);
      expect(rig.at('neck')).toBe(pulseOf(10));
      expect(rig.texts('refused')).toEqual([
        'cue nod: desk has control and has not armed the triggers',
      ]);
    },
  );

  test('the person whose link is lost afterwards parks it, as ever', async () => {
    const rig = await atWork('the cue');
    const client = rig.client('desk');
    await client.call('lease.take');
    await rig.run(1000);
    client.silent = true;
    await rig.run(700);
    expect(rig.condition).toBe('parking');
    await rig.until(() => rig.condition === 'parked');
  });

  test.each<[string, 'waking' | 'the cue', (client: Client) => unknown, string]>([
    ['park', 'waking', (client) => client.call('park'), 'parked'],
    ['park', 'the cue', (client) => client.call('park'), 'parked'],
    ['stop 0', 'the cue', (client) => client.call('stop', { category: 0 }), 'stopped'],
    ['stop 1', 'waking', (client) => client.call('stop', { category: 1 }), 'stopped'],
    ['stop 2', 'the cue', (client) => client.call('stop', { category: 2 }), 'stopped'],
  ])('%s during %s by anybody ends it for good', async (_what, during, end, condition) => {
    const rig = await atWork(during);
    await end(rig.client('guest'));
    await rig.run(10_000);
    expect(rig.condition).toBe(condition);
    expect(rig.on('fan')).toBe(false);
    expect(rig.core.lease.holder).toBeUndefined();
    const { length } = rig.writes;
    rig.core.triggers.osc(condition === 'parked' ? '/tame' : '/nod');
    await rig.run(20_000);
    expect(rig.writes).toHaveLength(length);
    expect(rig.condition).toBe(condition);
  });

  test.each(['waking', 'the cue'] as const)(
    'another trigger during %s is refused and told; the first goes on',
    async (during) => {
      const rig = await atWork(during);
      for (const address of ['/chew', '/tame', '/nod']) rig.core.triggers.osc(address);
      await rig.run(20_000);
      expect(rig.texts('refused')).toEqual([
        'cue chew: call is at work',
        'cue chew: call is at work',
        'cue nod: call is at work',
      ]);
      expect(rig.texts('cue')).toEqual(['cue nod runs', 'cue nod is over']);
      expect(rig.condition).toBe('parked');
    },
  );

  test('the lease is not for others to command with', async () => {
    const rig = await atWork('the cue');
    const refusal = await rig.client('guest').refused('channel.move', { channel: 'jaw', to: 10 });
    expect(refusal.code).toBe(CODES.notHolder);
    expect(refusal.values).toMatchObject({ holder: 'trigger call' });
  });

  test('a board that dies during it: the prop faults, nothing starts again', async () => {
    const rig = await atWork('the cue');
    rig.board().failing.write = new Error('no answer');
    await rig.run(5000);
    expect(rig.condition).toBe('faulted');
    expect(rig.core.lease.holder).toBeUndefined();
    rig.core.triggers.osc('/nod');
    await rig.run(5000);
    expect(rig.texts('refused')).toEqual(['cue nod: the prop is faulted, not parked']);
    expect(runs(rig)).toBe(1);
  });

  test('a prop that cannot wake is told, and the lease is free again', async () => {
    const draw = { idleA: 0.1, movingA: 0.6, stallA: 1 };
    const one = makeProp(
      { neck: servo({ rail: 'six', draw }) },
      {
        rails: { six: { volts: 6, limitA: 0.2 } },
        cues: { nod: [{ at: 0, move: { neck: 10 } }] },
        triggers: { call: { osc: '/nod', cue: 'nod', unattended: true } },
      },
    );
    const rig = await Rig.open(one, { restored: restedAt(one) });
    rig.core.triggers.begin();
    rig.core.triggers.osc('/nod');
    await rig.run(1000);
    expect(rig.texts('refused')).toHaveLength(1);
    expect(rig.condition).toBe('parked');
    expect(rig.core.lease.holder).toBeUndefined();
  });
});
