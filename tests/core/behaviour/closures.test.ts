import { describe, expect, test } from 'vitest';
import type { Restored, Saved, Store } from '../../../src/core/store.ts';
import { CODES } from '../../../src/shared/errors.ts';
import { type Client, makeProp, Rig, relay, restedAt, settle, TICK_MS } from '../rig.ts';

const on = (client: Client, channel = 'mist') =>
  client.call('channel.switch', { channel, on: true });
const off = (client: Client, channel = 'mist') =>
  client.call('channel.switch', { channel, on: false });

/** How often an output of the main board changed, and when (ms). */
const changesOf = (rig: Rig, output: string) =>
  rig.writes.filter((write) => write.output === output).map(({ ms }) => ms);

// --- on the disk first ----------------------------------------------------------------------------

describe('a closure with a duty guard is on the disk before the contact closes', () => {
  const prop = makeProp({
    mist: relay({ duty: { maxOnS: 4, restS: 10 } }),
    fan: relay(),
    horn: relay({ requires: [{ channel: 'mist', is: 'on' }] }),
  });

  /** A live prop whose disk answers when it is told to. */
  async function slow(): Promise<{ rig: Rig; client: Client; answer: (with_?: Error) => void }> {
    const { rig, client } = await Rig.live(prop);
    const { store } = rig;
    const save = store.save.bind(store);
    const asked: Saved[] = [];
    store.save = (state, durable) => {
      if (!durable) return save(state, durable);
      asked.push(structuredClone(state));
      store.noted = 'not yet';
    };
    const answer = (error?: Error): void => {
      const last = asked.at(-1)!;
      if (!error) save(last, true);
      store.noted = error ?? 'yes';
    };
    return { rig, client, answer };
  }

  test('what would survive a power cut at the moment of closing says that it is closed', async () => {
    const { rig, client, answer } = await slow();
    let answered = false;
    const asked = on(client).then(() => {
      answered = true;
    });
    // The disk takes 300 ms; the ticks go on, and another relay closes in its own tick.
    await rig.run(150);
    await on(client, 'fan');
    await rig.run(150);
    expect([rig.at('mist'), rig.at('fan'), answered]).toEqual([0, 1, false]);
    expect(rig.core.body.relay('mist').flags()).not.toBe(0);
    answer();
    await rig.tick();
    await asked;
    expect(rig.at('mist')).toBe(1);
    expect(rig.store.durable!.duty.mist!.on).toBe(true);
  });

  test('after a power cut in the middle of the closure the whole rest is due', async () => {
    const { rig, client, answer } = await slow();
    const asked = on(client);
    await rig.tick();
    answer();
    await rig.run(1000);
    await asked;
    const restored: Restored = { ...rig.store.durable!, sameBoot: false };
    const next = await Rig.live(prop, { restored });
    const refusal = await next.client.refused('channel.switch', { channel: 'mist', on: true });
    expect(refusal.code).toBe(CODES.dutyRest);
    expect(refusal.values.secondsLeft).toBeCloseTo(10, 0);
  });

  test('a disk that hangs refuses with the reason; nothing closes, then or later', async () => {
    const { rig, client, answer } = await slow();
    const refused = client.refused('channel.switch', { channel: 'mist', on: true });
    await rig.run(2100);
    const { message } = await refused;
    expect(message).toContain('mist stays open');
    expect(message).toContain('the disk does not answer within 2 s');
    answer();
    await rig.run(1000);
    expect(changesOf(rig, 'mist')).toEqual([]);
  });

  test('a disk that fails refuses with its words', async () => {
    const { rig, client, answer } = await slow();
    const refused = client.refused('channel.switch', { channel: 'mist', on: true });
    await rig.tick();
    answer(new Error('EROFS: read-only file system'));
    await rig.run(100);
    expect((await refused).message).toContain('EROFS');
    expect(changesOf(rig, 'mist')).toEqual([]);
    expect(rig.texts('duty').at(-1)).toContain('EROFS');
  });

  test('opened again while it waits, it never closes', async () => {
    const { rig, client, answer } = await slow();
    const asked = on(client);
    await rig.tick();
    await off(client);
    await rig.tick();
    answer();
    await rig.run(500);
    expect(await asked).toEqual({ on: false });
    expect(changesOf(rig, 'mist')).toEqual([]);
  });

  test('a stop while it waits: it never closes', async () => {
    const { rig, client, answer } = await slow();
    const asked = on(client);
    await rig.tick();
    await client.call('stop', { category: 2 });
    answer();
    await rig.run(500);
    await asked;
    expect(changesOf(rig, 'mist')).toEqual([]);
  });

  test('it is closed for as long as was asked for, however long it waited', async () => {
    const { rig, client, answer } = await slow();
    const asked = client.call('channel.switch', { channel: 'mist', on: true, forS: 0.5 });
    await rig.run(700);
    answer();
    await rig.run(1000);
    await asked;
    const [closed, opened] = changesOf(rig, 'mist');
    expect(Math.abs(opened! - closed! - 500)).toBeLessThanOrEqual(TICK_MS);
  });

  test('what needs it closed waits for it', async () => {
    const { rig, client, answer } = await slow();
    const asked = on(client);
    await rig.tick();
    await on(client, 'horn');
    await rig.run(200);
    expect(rig.at('horn')).toBe(0);
    answer();
    await rig.run(20);
    await asked;
    expect([rig.at('mist'), rig.at('horn')]).toEqual([1, 1]);
  });

  test('many that close together wait for the disk twice at most', async () => {
    const names = Array.from({ length: 20 }, (_, i) => `mist_${i}`);
    const many = makeProp(
      Object.fromEntries(names.map((name) => [name, relay({ duty: { maxOnS: 4, restS: 10 } })])),
    );
    const { rig, client } = await Rig.live(many);
    let saves = 0;
    const store = rig.store as Store & { noted: Store['noted'] };
    store.save = (_state, durable) => {
      if (!durable) return;
      saves++;
      store.noted = 'not yet';
      rig.clock.after(100, () => {
        store.noted = 'yes';
      });
    };
    const asked = Promise.all(names.map((name) => on(client, name)));
    await rig.run(250);
    await asked;
    expect(names.every((name) => rig.at(name) === 1)).toBe(true);
    expect(saves).toBeLessThanOrEqual(2);
  });
});

// --- what is unknown rests first ------------------------------------------------------------------

describe('what nobody knows to have rested rests first', () => {
  const guarded = relay({ duty: { maxOnS: 4, restS: 10 } });
  const prop = makeProp({ mist: guarded });
  const left = async (client: Client, channel = 'mist') =>
    (await client.refused('channel.switch', { channel, on: true })).values.secondsLeft;

  test('a prop without a saved state, as after the file was copied', async () => {
    const rig = await Rig.open(prop, { restored: 'none' });
    expect(rig.texts('duty')).toEqual([
      'nobody knows how long these were closed before, so they rest first: mist (10 s)',
    ]);
    const client = rig.client('desk');
    await rig.wake(client);
    expect(await left(client)).toBeGreaterThan(8);
    await rig.run(10_000);
    await on(client);
    await rig.tick();
    expect(rig.on('mist')).toBe(true);
  });

  test('a renamed channel goes on with the rest that it needs, neither more nor less', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(4100);
    await rig.run(5000);
    const restored: Restored = { ...rig.store.saved!, sameBoot: true };
    const bootS = rig.store.bootNowS();
    const same = await left((await Rig.live(prop, { bootS, restored })).client);
    const next = await Rig.live(makeProp({ fog: guarded }), { bootS, restored });
    expect(next.rig.texts('duty')).toEqual([]);
    expect(await left(next.client, 'fog')).toBeCloseTo(same as number, 6);
    expect(same).toBeGreaterThan(3);
    expect(same).toBeLessThan(5.2);
  });

  test.each<
    [string, Record<string, ReturnType<typeof relay>>, Record<string, ReturnType<typeof relay>>]
  >([
    // The name of what is hot, or of what is cool, must not choose the rest of the other's pin.
    [
      'a hot load that takes the pin of a cool one, under a third name',
      { mist: guarded, cool: guarded },
      { spare: relay(), fog: guarded },
    ],
    ['two names at once', { mist: guarded, cool: guarded }, { fog: guarded, steam: guarded }],
    [
      'the name of another relay',
      { mist: guarded, cool: guarded },
      { cool: guarded, fog: guarded },
    ],
    [
      'a relay without a guard on the pin of one that is gone, with a guard now',
      { mist: guarded, pump: relay() },
      { pump: guarded },
    ],
  ])('%s', async (_, before, after) => {
    const { rig, client } = await Rig.live(makeProp(before));
    await on(client);
    await rig.run(4100);
    await rig.run(11_000); // mist has rested, so its record says that it may close
    const restored: Restored = { ...rig.store.saved!, sameBoot: true };
    const next = await Rig.live(makeProp(after), { bootS: rig.store.bootNowS(), restored });
    for (const [name, { duty }] of Object.entries(after))
      if (duty) expect(await left(next.client, name), name).toBeGreaterThan(8);
  });

  test('a state of an earlier release, which does not list all relays: a new name rests', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(16_000);
    const restored: Restored = { ...rig.store.saved!, digests: {}, sameBoot: true };
    const bootS = rig.store.bootNowS();
    const next = await Rig.live(makeProp({ fog: guarded }), { bootS, restored });
    expect(await left(next.client, 'fog')).toBeGreaterThan(8);
    // A name that every object of the language has as well.
    const odd = { bootS, restored: { ...restored, duty: { constructor: restored.duty.mist! } } };
    const other = await Rig.live(makeProp({ fog: guarded }), odd);
    expect(await left(other.client, 'fog')).toBeGreaterThan(8);
  });

  test('a relay that was closed when the daemon died, under another name', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(1000);
    const restored: Restored = { ...rig.store.durable!, sameBoot: true };
    const bootS = rig.store.bootNowS();
    const next = await Rig.live(makeProp({ fog: guarded }), { bootS, restored });
    expect(await left(next.client, 'fog')).toBeGreaterThan(8);
  });

  test('two channels that swap their names', async () => {
    const two = makeProp({ mist: guarded, fog: guarded });
    const { rig, client } = await Rig.live(two);
    await on(client);
    await rig.run(4100);
    const swapped = makeProp({ fog: guarded, mist: guarded });
    const restored: Restored = { ...rig.store.saved!, sameBoot: true };
    const next = await Rig.live(swapped, { bootS: rig.store.bootNowS(), restored });
    // The pin that was closed is fog's now; mist's record is about another pin.
    expect(await left(next.client, 'fog')).toBeGreaterThan(8);
    expect(await left(next.client, 'mist')).toBeGreaterThan(8);
  });

  test('a guard that has rested is known to have, after another boot as well', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(4100);
    await rig.run(11_000);
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    const restored: Restored = { ...rig.store.durable!, sameBoot: false };
    const next = await Rig.live(prop, { restored });
    await on(next.client);
    await next.rig.tick();
    expect(next.rig.on('mist')).toBe(true);
  });
});

// --- a contact is not a signal -----------------------------------------------------------------------

describe('a contact stays as it is for 0.1 s', () => {
  test('toggled 199 times a second it changes ten times a second at most', async () => {
    const { rig, client } = await Rig.live(makeProp({ bulb: relay() }));
    for (let i = 0; i < 400; i++) {
      await (i % 2 === 0 ? on : off)(client, 'bulb');
      await rig.tick();
    }
    const atMs = changesOf(rig, 'bulb');
    for (const [i, ms] of atMs.entries())
      if (i > 0) expect(ms - atMs[i - 1]!).toBeGreaterThanOrEqual(100 - 1e-6);
    expect(atMs.length).toBeLessThanOrEqual(21);
  });

  test('the file may ask for longer, and for less', async () => {
    const prop = makeProp({
      pump: relay({ minOnS: 1, minOffS: 2 }),
      tap: relay({ minOnS: 0, minOffS: 0 }),
    });
    const { rig, client } = await Rig.live(prop);
    for (const name of ['pump', 'tap']) {
      await on(client, name);
      await rig.tick();
      await off(client, name);
      await rig.tick();
      await on(client, name);
    }
    await rig.run(4000);
    const [closed, opened, again] = changesOf(rig, 'pump');
    // Asked to close again while it lingered, it has not opened.
    expect([opened, again]).toEqual([undefined, undefined]);
    await off(client, 'pump');
    await rig.tick();
    await on(client, 'pump');
    await rig.run(4000);
    const [, openedS, closedS] = changesOf(rig, 'pump');
    expect(closed).toBeDefined();
    expect(closedS! - openedS!).toBeGreaterThanOrEqual(2000 - 1e-6);
    expect(changesOf(rig, 'tap')).toHaveLength(3);
  });

  test('asked for less than that, it is closed for that', async () => {
    const { rig, client } = await Rig.live(makeProp({ bulb: relay() }));
    await client.call('channel.switch', { channel: 'bulb', on: true, forS: 0.01 });
    await rig.run(500);
    const [closed, opened] = changesOf(rig, 'bulb');
    expect(Math.abs(opened! - closed! - 100)).toBeLessThanOrEqual(TICK_MS);
  });

  test('a momentary contact is made for its pulse', async () => {
    const bell = relay({ contact: 'momentary', pulseMs: 40 });
    const { rig, client } = await Rig.live(makeProp({ bell }));
    await on(client, 'bell');
    await rig.run(500);
    const [closed, opened] = changesOf(rig, 'bell');
    expect(Math.abs(opened! - closed! - 40)).toBeLessThanOrEqual(TICK_MS);
  });

  test.each([
    ['stop', (client: Client) => client.call('stop', { category: 2 })],
    ['park', (client: Client) => client.call('park')],
  ] as const)('%s opens at once, however short it was', async (_what, act) => {
    const { rig, client } = await Rig.live(makeProp({ bulb: relay({ minOnS: 5 }) }));
    await on(client, 'bulb');
    await rig.tick();
    // It lingers already; that ends as well.
    await off(client, 'bulb');
    await rig.tick();
    expect(rig.at('bulb')).toBe(1);
    await act(client);
    await rig.tick();
    expect(rig.at('bulb')).toBe(0);
  });

  test('a duty guard and an interlock open at once as well', async () => {
    const prop = makeProp({
      fan: relay({ duty: { maxOnS: 0.25, restS: 1 } }),
      mist: relay({
        minOnS: 9,
        duty: { maxOnS: 1, restS: 1 },
      }),
      horn: relay({ minOnS: 9, requires: [{ channel: 'fan', is: 'on' }] }),
    });
    const { rig, client } = await Rig.live(prop, { restored: restedAt(prop) });
    for (const name of ['fan', 'mist', 'horn']) await on(client, name);
    await rig.run(200);
    await off(client, 'mist');
    expect([rig.at('fan'), rig.at('horn')]).toEqual([1, 1]);
    await rig.until(() => rig.at('fan') === 0);
    await rig.tick();
    await settle();
    expect([rig.at('mist'), rig.at('horn')]).toEqual([1, 0]);
    await rig.run(1000);
    expect(rig.at('mist')).toBe(0);
  });
});
