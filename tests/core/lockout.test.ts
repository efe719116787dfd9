import { describe, expect, test } from 'vitest';
import type { Restored } from '../../src/core/store.ts';
import { CODES } from '../../src/shared/errors.ts';
import { makeProp, Rig, relay, restedAt, servo } from './rig.ts';

const prop = (over: Record<string, unknown> = {}) =>
  makeProp({ neck: servo(), jaw: servo(), fan: relay() }, over);

const nod = { cues: { nod: [{ at: 0, move: { neck: 30 }, overS: 3 }] } };

/** Nothing moves and nothing is written for so long. */
async function standsStill(rig: Rig, ms: number): Promise<void> {
  const { length } = rig.writes;
  await rig.run(ms);
  expect(rig.writes.slice(length)).toEqual([]);
}

describe('hands in the prop', () => {
  test('set by any session: a live prop stops in category 1, and nothing wakes it until it is cleared', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.switch', { channel: 'fan', on: true });
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(250);
    const guest = rig.client('guest');
    const { lockout } = await guest.call('lockout.set', { reason: 'freeing the beak' });
    expect(lockout).toMatchObject({ by: 'guest', reason: 'freeing the beak' });
    expect(rig.condition).toBe('stopped');
    await rig.run(2000);
    expect([rig.at('neck'), rig.at('jaw'), rig.on('fan')]).toEqual([0, 0, false]);

    await client.call('reset');
    expect(rig.condition).toBe('parked');
    // The neck is away from rest: parking would move it.
    for (const method of ['wake', 'park'] as const) {
      const refusal = await client.refused(method);
      expect(refusal.code).toBe(CODES.condition);
      expect(refusal.message).toMatch(/hands are in the prop \(guest: freeing the beak\)/);
      expect(refusal.values).toMatchObject({ code: 'lockout.set' });
    }
    await standsStill(rig, 3000);
    expect((await client.refused('lockout.clear')).message).toMatch(/guest clears it/);
    await guest.call('lockout.clear');
    await standsStill(rig, 3000);
    expect(rig.condition).toBe('parked');
    await client.call('wake');
    await rig.until(() => rig.condition === 'live');
  });

  test.each(['waking', 'parking'])('a prop that is %s stops as well', async (during) => {
    const rig = await Rig.open(prop(), { restored: restedAt(prop()) });
    const client = rig.client('desk');
    await rig.wake(client);
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(2000);
    if (during === 'waking') {
      await client.call('stop', { category: 0 });
      await client.call('reset');
      await client.call('wake');
    } else await client.call('park');
    await rig.tick();
    expect(rig.condition).toBe(during);
    await rig.client('guest').call('lockout.set', {});
    expect(rig.condition).toBe('stopped');
    await rig.run(1000);
    await standsStill(rig, 3000);
  });

  test('it takes two keys where two have set it; by force it takes a reason, which is journalled', async () => {
    const rig = await Rig.open(prop(), { restored: restedAt(prop()) });
    const [a, b, c] = ['a', 'b', 'c'].map((name) => rig.client(name));
    await a!.call('lockout.set', { reason: 'one' });
    await b!.call('lockout.set', { reason: 'two' });
    expect((await a!.call('lockout.clear', {})).lockout).toMatchObject({ by: 'b' });
    expect((await a!.refused('lockout.clear')).code).toBe(CODES.condition);
    await c!.call('lease.take');
    expect((await c!.refused('wake')).code).toBe(CODES.condition);
    expect((await c!.refused('lockout.clear', { force: true })).code).toBe(CODES.invalidParams);
    const forced = await c!.call('lockout.clear', { force: true, reason: 'b went home, I looked' });
    expect(forced).toEqual({ lockout: null });
    expect(rig.texts('lockout').at(-1)).toMatch(/b \(two\) is forced: b went home, I looked/);
    await c!.call('wake');
  });

  test('itis kept across restarts', async () => {
    const first = await Rig.open(prop(), { restored: restedAt(prop()) });
    await first.client('a').call('lockout.set', { reason: 'night' });
    const restored = { ...first.store.durable!, sameBoot: false } as Restored;
    const rig = await Rig.open(prop(), { restored });
    const client = rig.client('b');
    await client.call('lease.take');
    expect((await client.refused('wake')).message).toMatch(/a: night/);
    // The client of the same name is the one that set it.
    await rig.client('a').call('lockout.clear', {});
    await client.call('wake');
    expect(rig.store.durable!.lockout).toBeUndefined();
  });

  test('a damaged state counts as one that held a lockout, until somebody forces it', async () => {
    const first = await Rig.open(prop(), { restored: 'damaged' });
    expect(first.texts('state').at(-1)).toMatch(/damaged.*sinew unlock --force/);
    await first.client('a').call('lockout.set', { reason: 'night' });
    await first.client('a').call('lockout.clear', {});
    // What is noted from now on is sound, and must say so as well.
    const restored = { ...first.store.durable!, sameBoot: false } as Restored;
    for (const state of ['damaged', restored] as const) {
      const rig = await Rig.open(prop(), { restored: state });
      const operator = rig.client('desk');
      await operator.call('lease.take');
      const refusal = await operator.refused('wake');
      expect(refusal.code).toBe(CODES.condition);
      expect(refusal.message).toMatch(
        /the saved state is damaged: a lockout or a stop may be lost.*then "sinew unlock --force REASON"/,
      );
      await standsStill(rig, 1000);
      // By its name nobody has it as their own.
      for (const name of ['desk', rig.core.safety.lockout!.by]) {
        const own = await rig.client(name).refused('lockout.clear');
        expect(own.message).toMatch(/this client has not set it/);
      }
      const reason = 'I looked, nobody is there';
      expect(await operator.call('lockout.clear', { force: true, reason })).toEqual({
        lockout: null,
      });
      expect(rig.store.durable!.lockout).toBeUndefined();
      await operator.call('wake');
      await rig.until(() => rig.condition === 'live');
    }
  });

  test('no state at all is a first start, and locks nothing', async () => {
    const rig = await Rig.open(prop(), { restored: 'none' });
    expect(rig.core.safety.lockout).toBeNull();
  });

  test('it holds at once where the disk does not take it, and says that it would not outlast a restart', async () => {
    const rig = await Rig.open(prop(), { restored: restedAt(prop()) });
    const hand = rig.client('hand');
    rig.store.noted = new Error('no space left');
    expect((await hand.call('lockout.set', {})).unsaved).toMatch(/restart.*no space left/);
    rig.store.noted = 'not yet';
    const asked = hand.call('lockout.set', { reason: 'again' });
    const operator = rig.client('desk');
    await operator.call('lease.take');
    expect((await operator.refused('wake')).message).toMatch(/hand: again/);
    await rig.run(2100);
    expect((await asked).unsaved).toMatch(/restart.*not answered for 2 s/);
    rig.store.noted = 'yes';
    expect(await hand.call('lockout.clear', {})).toEqual({ lockout: null });
  });

  test('no trigger wakes the prop', async () => {
    const at = {
      ...nod,
      triggers: { mat: { osc: '/nod', cue: 'nod', unattended: true } },
    };
    const rig = await Rig.open(prop(at), { restored: restedAt(prop()) });
    rig.core.triggers.begin();
    await rig.client('a').call('lockout.set', {});
    rig.core.triggers.osc('/nod');
    await standsStill(rig, 3000);
    expect(rig.condition).toBe('parked');
    expect(rig.core.lease.holder).toBeUndefined();
  });

  test.each(['turned', 'broken board'])(
    'the key switch (%s) does the same, and its key alone clears it',
    async (how) => {
      const withKey = prop({
        boards: { main: { driver: 'sim' }, keys: { driver: 'sim' } },
        lockoutInput: { board: 'keys', pin: 3 },
      });
      const { rig, client } = await Rig.live(withKey);
      await client.call('channel.move', { channel: 'neck', to: 40 });
      await rig.run(250);
      const keys = rig.board('keys');
      if (how === 'turned') keys.level.set('lockoutInput', 1);
      else keys.failing.read = new Error('gone');
      await rig.tick();
      expect(rig.core.safety.lockout).toMatchObject({ by: 'the key switch' });
      await rig.run(1000);
      if (how === 'turned') expect(rig.condition).toBe('stopped');
      else expect(rig.condition).toBe('faulted');
      expect(rig.servo('neck').moving).toBe(false);
      expect(rig.at('neck')).toBe(0);
      expect((await client.refused('lockout.clear', { force: true, reason: 'x' })).message).toMatch(
        /only its key/,
      );
      if (how !== 'turned') return;
      await client.call('reset');
      expect((await client.refused('wake')).message).toMatch(/turn the key back/);
      keys.level.set('lockoutInput', 0);
      // A contact bounces: steady for half a second.
      await rig.run(400);
      expect((await client.refused('wake')).code).toBe(CODES.condition);
      await rig.run(200);
      await client.call('wake');
    },
  );
});

describe('guards', () => {
  const guarded = (over: Record<string, unknown> = {}) =>
    prop({
      ...nod,
      guards: {
        mat: { board: 'main', pin: 20, action: 'inhibit' },
        door: { board: 'main', pin: 21, category: 0, ...over },
        beam: { board: 'main', pin: 22, normallyClosed: false, action: 'inhibit' },
      },
    });
  const step = (rig: Rig, name: string, level: 0 | 1) =>
    rig.board().level.set(`guard ${name}`, level);

  test.each([
    ['mat', 1],
    ['beam', 0],
    ['door', 1],
  ] as const)(
    'a broken %s lets nothing wake, and starts nothing when it is whole',
    async (name, level) => {
      const rig = await Rig.open(guarded(), { restored: restedAt(prop()) });
      const client = rig.client('desk');
      await client.call('lease.take');
      step(rig, name, level);
      const refusal = await client.refused('wake');
      expect(refusal.code).toBe(CODES.condition);
      expect(refusal.values).toMatchObject({ code: 'guard.broken', guards: [name] });
      expect(rig.condition).toBe('parked');
      step(rig, name, level === 1 ? 0 : 1);
      await standsStill(rig, 2000);
      expect(rig.core.safety.guards).toEqual([]);
      await client.call('wake');
      await rig.until(() => rig.condition === 'live');
    },
  );

  test('one that stops does so in the next tick, in its category', async () => {
    const { rig, client } = await Rig.live(guarded());
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(250);
    step(rig, 'door', 1);
    await rig.tick();
    expect(rig.condition).toBe('stopped');
    expect(rig.at('neck')).toBe(0);
    expect(rig.texts('stop')).toEqual(['stop category 0: guard broken: door']);
    step(rig, 'door', 0);
    await standsStill(rig, 2000);
    expect(rig.condition).toBe('stopped');
  });

  test('one that stops also stops parking', async () => {
    const { rig, client } = await Rig.live(guarded({ category: 1 }));
    await client.call('channel.move', { channel: 'neck', to: 40 });
    await rig.run(2000);
    await client.call('park');
    await rig.run(200);
    step(rig, 'door', 1);
    await rig.run(1000);
    expect(rig.condition).toBe('stopped');
    expect(Math.abs(rig.servo('neck').setpoint.pos)).toBeGreaterThan(5);
  });

  test('one that inhibits ends what moves by itself, refuses commands, and lets it park', async () => {
    const { rig, client } = await Rig.live(guarded());
    await client.call('cue.run', { cue: 'nod' });
    await client.call('channel.identify', { channel: 'jaw' });
    await rig.run(500);
    step(rig, 'mat', 1);
    await rig.run(1000);
    expect(rig.condition).toBe('live');
    expect(rig.core.cues.anyRunning).toBe(false);
    await standsStill(rig, 2000);
    const at = rig.servo('neck').setpoint.pos;
    for (const [method, params] of [
      ['channel.move', { channel: 'neck', to: 0 }],
      ['channel.jog', { channel: 'neck', byDeg: 1 }],
      ['channel.jog', { channel: 'neck', byDeg: 1, beyondLimits: true }],
      ['channel.switch', { channel: 'fan', on: true }],
      ['channel.identify', { channel: 'fan' }],
      ['cue.run', { cue: 'nod' }],
    ] as const)
      expect((await client.refused(method, params as never)).values).toMatchObject({
        code: 'guard.broken',
      });
    await standsStill(rig, 500);
    expect(rig.servo('neck').setpoint.pos).toBe(at);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 10);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
  });

  test('one that breaks while the prop wakes holds the waking up', async () => {
    const rig = await Rig.open(guarded(), { restored: restedAt(prop()) });
    const client = rig.client('desk');
    await client.call('lease.take');
    await client.call('wake');
    step(rig, 'mat', 1);
    await standsStill(rig, 2000);
    expect(rig.condition).toBe('waking');
    step(rig, 'mat', 0);
    await rig.until(() => rig.condition === 'live', 5);
  });
});
