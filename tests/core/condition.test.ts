import { describe, expect, test } from 'vitest';
import { METHODS, type Method } from '../../src/api/methods.ts';
import { EVENTS, next } from '../../src/core/condition.ts';
import { CONDITIONS, type Condition } from '../../src/shared/condition.ts';
import { CODES, Refusal } from '../../src/shared/errors.ts';
import { type Client, lamp, makeProp, Rig, relay, restedAt, rgb, servo, sound } from './rig.ts';

/**
 * Written out by hand from the meaning of the conditions: a stop and a fault latch, reset alone
 * lets go of them and leads to rest, commands are for a live prop, `-` is a refusal.
 */
const EXPECTED = `
               parked   waking   live     parking  stopped  faulted
wake           waking   waking   live     -        -        -
awake          -        live     -        -        -        -
park away      parking  parking  parking  parking  -        -
park at rest   parked   parking  parking  parking  -        -
at rest        parked   -        -        parked   -        faulted
stop           stopped  stopped  stopped  stopped  stopped  faulted
reset          parked   waking   live     parking  parked   parked
fault          faulted  faulted  faulted  faulted  faulted  faulted
command        -        -        live     -        -        -
`;

const rows = EXPECTED.trim()
  .split('\n')
  .map((line) => line.trim().split(/ {2,}/));
const [columns, ...table] = rows as [string[], ...string[][]];

test('the table written here names every condition and every event', () => {
  expect(columns).toEqual([...CONDITIONS]);
  expect(table.map(([event]) => event)).toEqual([...EVENTS]);
});

describe.each(EVENTS)('event %s', (event) => {
  const row = table.find(([name]) => name === event)!;
  test.each(CONDITIONS)('in %s', (condition) => {
    const expected = row[1 + columns.indexOf(condition)];
    if (expected !== '-') {
      expect(next(condition, event)).toBe(expected);
      return;
    }
    try {
      next(condition, event);
    } catch (error) {
      expect(error).toBeInstanceOf(Refusal);
      expect((error as Refusal).code).toBe(-32003);
      expect((error as Refusal).toObject().data).toMatchObject({ condition, event });
      return;
    }
    expect.unreachable(`${event} in ${condition} was not refused`);
  });
});

// --- every condition, every request ---------------------------------------------------------------

const prop = () =>
  makeProp(
    {
      neck: servo({ marks: { up: 20 } }),
      jaw: servo(),
      fan: relay(),
      eye: rgb(),
      glow: lamp(),
      voice: sound(),
    },
    {
      groups: { head: ['neck', 'jaw'] },
      poses: { up: { neck: 20, fan: 'on' } },
      cues: { nod: [{ at: 0, move: { neck: 10 } }] },
      idle: { calm: { plays: [{ cue: 'nod', everyS: [5, 9] }] } },
      show: { name: 'foyer', prop: 'owl', broker: { url: 'mqtt://127.0.0.1' } },
    },
  );

/** Every request with sound parameters, and the conditions in which it is accepted. */
const ALL = [...CONDITIONS];
const REQUESTS: [Method, object, Condition[]][] = [
  ['lease.take', {}, ALL],
  ['lease.release', {}, ALL],
  ['wake', {}, ['parked', 'waking', 'live']],
  ['park', {}, ['parked', 'waking', 'live', 'parking']],
  ['reset', {}, ALL],
  ['stop', { category: 0 }, ALL],
  ['stop', { category: 1 }, ALL],
  ['stop', { category: 2 }, ALL],
  ['lockout.set', { reason: 'freeing a finger' }, ALL],
  ['lockout.clear', {}, ALL],
  ['channel.move', { channel: 'neck', to: 10 }, ['live']],
  ['channel.move', { channel: 'neck', to: 'up' }, ['live']],
  ['channel.jog', { channel: 'neck', byDeg: 1 }, ['live']],
  ['channel.jog', { channel: 'neck', byUs: 10, beyondLimits: true }, ['live']],
  ['channel.switch', { channel: 'fan', on: true }, ['live']],
  ['channel.switch', { channel: 'fan', on: false }, ['live']],
  ['channel.colour', { channel: 'eye', to: 'orange' }, ['live']],
  ['channel.dim', { channel: 'glow', to: 0.5 }, ['live']],
  ['channel.identify', { channel: 'neck' }, ['live']],
  ['channel.identify', { channel: 'fan' }, ['live']],
  ['channel.identify', { channel: 'eye' }, ['live']],
  ['channel.identify', { channel: 'glow' }, ['live']],
  ['channel.perform', { targets: { neck: 10 } }, ['live']],
  ['measure.begin', { channel: 'neck', what: 'ends' }, []],
  ['measure.hold', { run: 1 }, []],
  ['measure.release', { run: 1 }, []],
  ['measure.accept', { run: 1, date: '2026-11-26' }, []],
  ['take.begin', { channels: ['neck'], over: 'nod' }, ['live']],
  ['take.end', {}, []],
  ['take.read', {}, ALL],
  ['take.save', { name: 'nod_again' }, []],
  ['channel.identify', { channel: 'voice' }, ['live']],
  ['sound.play', { channel: 'voice', sound: 'hoot' }, ['live']],
  ['sound.stop', { channel: 'voice' }, ALL],
  ['sound.begin', { bytes: 1000 }, ALL],
  ['sound.add', { upload: 1, name: 'coo' }, ALL],
  ['sound.remove', { sound: 'hoot' }, ALL],
  ['wear.done', { channel: 'neck' }, ALL],
  ['board.scan', {}, ['parked', 'stopped', 'faulted']],
  [
    'sound.follow',
    {
      ...{ sound: 'hoot', channel: 'neck', shut: 0, open: 20 },
      ...{ floorLufs: -45, rangeLu: 25, attackS: 0.04, releaseS: 0.12 },
    },
    ALL,
  ],
  ['group.move', { group: 'head', to: 5 }, ['live']],
  ['pose.go', { pose: 'up' }, ['live']],
  ['cue.run', { cue: 'nod' }, ['live']],
  ['cue.stop', { cue: 'nod' }, ALL],
  ['idle.start', { idle: 'calm' }, ['live']],
  ['idle.stop', {}, ALL],
  ['trigger.arm', { armed: true }, ALL],
  ['show.arm', {}, ['parked', 'waking', 'live', 'parking']],
  ['show.disarm', {}, ALL],
  ['mark.capture', { channel: 'neck', mark: 'here' }, ['live']],
  ['limits.capture', { channel: 'neck', end: 'low' }, ['live']],
  ['park.capture', { channel: 'neck' }, ['live']],
  ['park.capture', { channel: 'neck', mark: 'up' }, ['live']],
  ['pose.capture', { pose: 'up', channels: ['neck'] }, ['live']],
  ['capture.undo', {}, ['live']],
  // None of them has a sense.
  ['teach.begin', { channels: ['neck'] }, []],
  ['teach.end', { confirm: 'clear' }, ['live']],
  ['prop.apply', { text: 'sinew: 1', version: '0' }, ALL],
  ['cue.save', { cue: 'nod', steps: [{ at: 0, pose: 'up' }], version: '0' }, ALL],
  ['cue.remove', { cue: 'nod', version: '0' }, ALL],
  ['prop.restore', { version: '0' }, ALL],
  ['picture.begin', { name: 'owl.png', bytes: 1 }, ALL],
  ['picture.end', { upload: 1 }, ALL],
];

/** A rig in each condition, at rest in it for as long as the condition lasts by itself. */
const ROADS: Record<Condition, (rig: Rig, client: Client) => Promise<void>> = {
  parked: async (_rig, client) => void (await client.call('lease.take')),
  waking: async (rig, client) => {
    await client.call('lease.take');
    await client.call('wake');
    await rig.tick();
  },
  live: (rig, client) => rig.wake(client),
  parking: async (rig, client) => {
    await rig.wake(client);
    await client.call('channel.move', { channel: 'neck', to: 30, wait: false });
    await rig.run(400);
    await client.call('park');
    await rig.tick();
  },
  stopped: async (rig, client) => {
    await rig.wake(client);
    await client.call('stop', { category: 2 });
    await rig.tick();
  },
  faulted: async (rig, client) => {
    await rig.wake(client);
    rig.core.fail(new Error('a fault on purpose'));
    await rig.tick();
  },
};

test('every method that the gateway passes on to the core is asked for here', () => {
  // A simulated board is set in any condition, and has tests of its own.
  const passedOn = Object.entries(METHODS)
    .filter(([method, { by }]) => by === 'core' && method !== 'sim.set')
    .map(([method]) => method)
    .sort();
  expect([...new Set(REQUESTS.map(([method]) => method))].sort()).toEqual(passedOn);
});

describe.each(CONDITIONS)('every request in %s', (condition) => {
  test.each(REQUESTS)('%s %j', async (method, params, accepted) => {
    const rig = await Rig.open(prop(), {
      restored: restedAt(prop()),
    });
    const client = rig.client('desk');
    await ROADS[condition](rig, client);
    expect(rig.condition).toBe(condition);
    const before = new Map(rig.board().value);
    const writes = rig.writes.length;
    const targets = rig.core.body.servos.map((one) => one.targetDeg);

    const call = client.call(method, params as never);
    if (accepted.includes(condition)) {
      await expect(call).resolves.toBeDefined();
      return;
    }
    const refusal = await call.then(
      () => expect.unreachable(`${method} was not refused`),
      (error: Refusal) => error,
    );
    expect(refusal).toBeInstanceOf(Refusal);
    expect(refusal.code).toBe(CODES.condition);
    expect(refusal.toObject().data.reason).not.toBe('');
    expect(rig.condition).toBe(condition);
    expect(rig.core.body.servos.map((one) => one.targetDeg)).toEqual(targets);
    expect(rig.on('fan')).toBe(false);
    // What still changes after the refusal is the waking or parking that was under way.
    if (condition !== 'waking' && condition !== 'parking') {
      await rig.run(1000);
      expect(rig.writes.length).toBe(writes);
      expect(new Map(rig.board().value)).toEqual(before);
    }
  });

  test('without the lease only stop, park, the lockout and the lease itself are open', async () => {
    const rig = await Rig.open(prop(), {
      restored: restedAt(prop()),
    });
    await ROADS[condition](rig, rig.client('desk'));
    const guest = rig.client('guest');
    const before = { condition: rig.condition, writes: rig.writes.length };
    const free = ['park', 'stop', 'lockout.set', 'lockout.clear', 'show.disarm', 'take.read'];
    for (const [method, params] of REQUESTS) {
      if (free.includes(method)) continue;
      const refusal = await guest.refused(method, params as never);
      expect([method, refusal.code]).toEqual([method, CODES.notHolder]);
      expect(refusal.toObject().data.holder).toBe('desk');
    }
    expect({ condition: rig.condition, writes: rig.writes.length }).toEqual(before);
  });
});
