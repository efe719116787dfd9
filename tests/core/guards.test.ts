import { describe, expect, test } from 'vitest';
import { DutyGuard } from '../../src/core/duty.ts';
import type { Restored } from '../../src/core/store.ts';
import { CODES } from '../../src/shared/errors.ts';
import { type Client, makeProp, Rig, relay, servo, TICK_MS } from './rig.ts';

// --- interlocks -----------------------------------------------------------------------------------

describe('interlocks', () => {
  const prop = () =>
    makeProp({
      tail: servo(),
      lid: servo({ requires: [{ channel: 'tail', above: 20 }] }),
      jaw: servo({ requires: [{ channel: 'tail', below: -20 }] }),
      // In this order, what depends on a relay comes before the relay.
      lamp_relay: relay({ requires: [{ channel: 'mist', is: 'on' }] }),
      mist: relay({ requires: [{ channel: 'pump', is: 'on' }] }),
      pump: relay({ requires: [{ channel: 'tail', above: 20 }] }),
      door: relay({ requires: [{ channel: 'pump', is: 'off' }] }),
    });

  async function open() {
    const { rig, client } = await Rig.live(prop());
    await client.call('channel.move', { channel: 'tail', to: 30 });
    await rig.run(1000);
    return { rig, client };
  }
  const close = (client: Client, channel: string) =>
    client.call('channel.switch', { channel, on: true });
  /** The tail sinks past the gate, which would refuse to send it where it is not to be. */
  const sink = (rig: Rig) => {
    const tail = rig.servo('tail');
    tail.take(tail.plan(0));
  };

  test.each([
    ['channel.move', { channel: 'lid', to: 10 }, 'tail above 20 deg', 0],
    ['channel.jog', { channel: 'lid', byDeg: 1 }, 'tail above 20 deg', 0],
    ['channel.jog', { channel: 'lid', byDeg: 1, beyondLimits: true }, 'tail above 20 deg', 0],
    ['channel.move', { channel: 'jaw', to: 10 }, 'tail below -20 deg', 0],
    ['channel.identify', { channel: 'lid' }, 'tail above 20 deg', 0],
    ['channel.identify', { channel: 'mist' }, 'pump on', false],
    ['channel.switch', { channel: 'mist', on: true }, 'pump on', false],
  ] as const)('%s %j is refused: it needs %s', async (method, params, needs, value) => {
    const { rig, client } = await Rig.live(prop());
    const { length } = rig.writes;
    const refusal = await client.refused(method, params as never);
    expect(refusal.code).toBe(CODES.interlock);
    expect(refusal.message).toContain(needs);
    expect(refusal.values).toMatchObject({ value });
    await rig.run(500);
    expect(rig.writes).toHaveLength(length);
  });

  test('met, the same is accepted', async () => {
    const { rig, client } = await open();
    await client.call('channel.move', { channel: 'lid', to: 10 });
    await close(client, 'pump');
    await close(client, 'mist');
    await rig.tick();
    expect([rig.on('pump'), rig.on('mist')]).toEqual([true, true]);
  });

  test('a relay opens in the very tick in which its requirement ends, and all that hangs on it', async () => {
    const { rig, client } = await open();
    for (const name of ['pump', 'mist', 'lamp_relay']) await close(client, name);
    await rig.tick();
    sink(rig);
    let ticks = 0;
    rig.afterTick = () => {
      ticks++;
      const met = rig.servo('tail').setpoint.pos > 20;
      for (const name of ['pump', 'mist', 'lamp_relay'])
        expect([ticks, name, rig.at(name)]).toEqual([ticks, name, met ? 1 : 0]);
    };
    await rig.run(1000);
    const texts = rig.texts('interlock');
    expect(texts).toHaveLength(3);
    expect(texts[0]).toBe('pump opened: it needs tail above 20 deg');
  });

  test('once open it stays open when the requirement is met again', async () => {
    const { rig, client } = await open();
    await close(client, 'pump');
    sink(rig);
    await rig.run(1000);
    await client.call('channel.move', { channel: 'tail', to: 30 });
    await rig.run(1000);
    expect(rig.on('pump')).toBe(false);
  });

  test('is off: a relay that closes past the gate opens the other', async () => {
    const { rig, client } = await open();
    await close(client, 'door');
    await rig.tick();
    rig.core.body.relay('pump').set(true);
    await rig.tick();
    expect([rig.at('pump'), rig.at('door')]).toEqual([1, 0]);
  });

  test('a servo decelerates within its limits and holds; the journal tells why', async () => {
    const { rig, client } = await open();
    await client.call('channel.move', { channel: 'lid', to: 40, overS: 2 });
    sink(rig);
    let vel = 0;
    let hardest = 0;
    rig.afterTick = () => {
      const now = rig.servo('lid').setpoint.vel;
      hardest = Math.max(hardest, Math.abs(now - vel) / (TICK_MS / 1000));
      vel = now;
    };
    await rig.until(() => rig.servo('tail').setpoint.pos <= 20, 2);
    expect(rig.texts('interlock')).toEqual(['lid held: it needs tail above 20 deg']);
    await rig.run(400);
    const { pos } = rig.servo('lid').setpoint;
    expect(pos).toBeGreaterThan(0);
    expect(pos).toBeLessThan(40);
    expect(hardest).toBeLessThanOrEqual(600 * (1 + 1e-9));
    await rig.run(3000);
    expect(rig.servo('lid').setpoint.pos).toBe(pos);
    expect(rig.servo('lid').interlocked).toBe(true);
    const channels = (await client.call('channel.list')).channels;
    expect(channels.lid!.flags).toContain('interlocked');
  });

  test('whoever waits for the held move is told', async () => {
    const { rig, client } = await open();
    const refused = client.refused('channel.move', {
      channel: 'lid',
      to: 40,
      overS: 2,
      wait: true,
    });
    sink(rig);
    await rig.run(3000);
    expect((await refused).message).toContain('interlock');
  });

  test('a limp servo does not meet a requirement, wherever it stands', async () => {
    const { rig } = await open();
    rig.servo('tail').release(rig.core.nowS);
    expect(rig.core.body.met({ channel: 'tail', above: 20 })).toBe(false);
  });
});

// --- timers and momentary contacts ----------------------------------------------------------------

describe('a relay that opens by itself', () => {
  const closedMs = (rig: Rig, name: string) => {
    const [closed, opened] = rig.writes.filter(({ output }) => output === name);
    return opened!.ms - closed!.ms;
  };

  test('after forS', async () => {
    const { rig, client } = await Rig.live(makeProp({ fan: relay() }));
    await client.call('channel.switch', { channel: 'fan', on: true, forS: 1.25 });
    await rig.run(3000);
    expect(Math.abs(closedMs(rig, 'fan') - 1250)).toBeLessThanOrEqual(TICK_MS);
  });

  test('a momentary contact after its pulse, however long it is asked for', async () => {
    const bell = relay({ contact: 'momentary', pulseMs: 150 });
    const { rig, client } = await Rig.live(makeProp({ bell }));
    await client.call('channel.switch', { channel: 'bell', on: true, forS: 100 });
    await rig.run(3000);
    expect(Math.abs(closedMs(rig, 'bell') - 150)).toBeLessThanOrEqual(TICK_MS);
  });

  test('a momentary contact is not kept closed by asking again and again', async () => {
    const bell = relay({ contact: 'momentary', pulseMs: 150 });
    const { rig, client } = await Rig.live(makeProp({ bell }));
    for (let i = 0; i < 14; i++) {
      await client.call('channel.switch', { channel: 'bell', on: true });
      await rig.run(10);
    }
    await rig.run(1000);
    expect(Math.abs(closedMs(rig, 'bell') - 150)).toBeLessThanOrEqual(TICK_MS);
  });

  test('asked again without forS it stays closed', async () => {
    const { rig, client } = await Rig.live(makeProp({ fan: relay() }));
    await client.call('channel.switch', { channel: 'fan', on: true, forS: 1 });
    await client.call('channel.switch', { channel: 'fan', on: true });
    await rig.run(5000);
    expect(rig.on('fan')).toBe(true);
  });
});

// --- duty -----------------------------------------------------------------------------------------

describe('the duty guard', () => {
  const prop = makeProp({ mist: relay({ duty: { maxOnS: 4, restS: 10 } }) });
  const on = (client: Client) => client.call('channel.switch', { channel: 'mist', on: true });
  const off = (client: Client) => client.call('channel.switch', { channel: 'mist', on: false });

  test('opens after maxOnS, to the tick, and tells', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(6000);
    const [closed, opened] = rig.writes;
    expect(Math.abs(opened!.ms - closed!.ms - 4000)).toBeLessThanOrEqual(TICK_MS);
    expect(rig.texts('duty')).toEqual(['mist opened after 4 s; it rests 10 s']);
  });

  test('refuses to close within the rest, with the seconds left', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(6000);
    const refusal = await client.refused('channel.switch', { channel: 'mist', on: true });
    expect(refusal.code).toBe(CODES.dutyRest);
    // It opened 2 s ago.
    expect(refusal.values.secondsLeft).toBeCloseTo(8, 1);
    await rig.run(7980);
    await client.refused('channel.switch', { channel: 'mist', on: true });
    await rig.run(30);
    await on(client);
    await rig.tick();
    expect(rig.on('mist')).toBe(true);
  });

  test('until a late tick opens it, it is closed, and that counts', async () => {
    const { rig, client } = await Rig.live(prop);
    const lateMs = 400;
    let closures = 0;
    for (; closures < 20; closures++) {
      const refused = await on(client).then(
        () => undefined,
        (error) => error,
      );
      if (refused) {
        expect(refused.code).toBe(CODES.dutyRest);
        break;
      }
      await rig.run(300);
      await off(client);
      await rig.stall(lateMs);
    }
    const atMs = rig.writes.map(({ ms }) => ms);
    const closedMs = atMs.reduce((sum, ms, i) => sum + (i % 2 === 0 ? -ms : ms), 0);
    expect(atMs.length).toBe(2 * closures);
    expect(closedMs).toBeGreaterThan(4000 - TICK_MS);
    expect(closedMs).toBeLessThanOrEqual(4000 + lateMs + TICK_MS);
  });

  test('short closures add up until it has rested without a break', async () => {
    const { rig, client } = await Rig.live(prop);
    let closedMs = 0;
    rig.afterTick = () => {
      closedMs += rig.at('mist') * TICK_MS;
    };
    for (let i = 0; i < 6; i++) {
      await on(client).catch(() => {});
      await rig.run(900);
      await off(client);
      await rig.run(500);
    }
    expect(closedMs).toBeLessThanOrEqual(4000 + TICK_MS);
    expect(closedMs).toBeGreaterThanOrEqual(4000 - 5 * TICK_MS);
    expect((await client.refused('channel.switch', { channel: 'mist', on: true })).code).toBe(
      CODES.dutyRest,
    );
  });

  test('toggling at every tick wins nothing', async () => {
    const { rig, client } = await Rig.live(prop);
    let closedMs = 0;
    rig.afterTick = () => {
      closedMs += rig.at('mist') * TICK_MS;
    };
    for (let i = 0; i < 2400; i++) {
      await (i % 2 === 0 ? on(client) : off(client)).catch(() => {});
      await rig.tick();
    }
    expect(closedMs).toBeLessThanOrEqual(4000 + TICK_MS);
  });

  test('identify cannot get round it', async () => {
    const { rig, client } = await Rig.live(prop);
    await on(client);
    await rig.run(5000);
    expect((await client.refused('channel.identify', { channel: 'mist' })).code).toBe(
      CODES.dutyRest,
    );
  });

  describe('across a restart', () => {
    /** Closed for 4 s and open for `openS` when the first run ends; the next begins `gapS` later. */
    async function restart(openS: number, gapS: number, over: Partial<Restored> = {}) {
      const { rig, client } = await Rig.live(prop, { bootS: 500 });
      await on(client);
      await rig.run(4100 + openS * 1000);
      const bootS = rig.store.bootNowS() + gapS;
      const saved = rig.store.saved!;
      return Rig.live(prop, { bootS, restored: { ...saved, sameBoot: true, ...over } });
    }
    const secondsLeft = async (client: Client) =>
      (await client.refused('channel.switch', { channel: 'mist', on: true })).values
        .secondsLeft as number;

    test('in the same boot the rest goes on', async () => {
      const { client } = await restart(2, 3);
      expect(await secondsLeft(client)).toBeCloseTo(4.9, 1);
    });

    test('in the same boot a rest that is over is over', async () => {
      const { rig, client } = await restart(2, 9);
      await on(client);
      await rig.tick();
      expect(rig.on('mist')).toBe(true);
    });

    test('after another boot nobody knows, and the whole rest is due', async () => {
      const { client } = await restart(2, 9, { sameBoot: false });
      expect(await secondsLeft(client)).toBeCloseTo(10, 1);
    });

    test('a part that was used up stays used up', async () => {
      const first = await Rig.live(prop, { bootS: 500 });
      await on(first.client);
      await first.rig.run(3000);
      await off(first.client);
      await first.rig.run(100);
      const restored = { ...first.rig.store.saved!, sameBoot: true };
      const { rig, client } = await Rig.live(prop, {
        bootS: first.rig.store.bootNowS() + 1,
        restored,
      });
      await on(client);
      await rig.run(2000);
      const [closed, opened] = rig.writes;
      expect(Math.abs(opened!.ms - closed!.ms - 1000)).toBeLessThanOrEqual(2 * TICK_MS);
    });

    test('died while it was closed: the whole rest is due', async () => {
      const first = await Rig.live(prop, { bootS: 500 });
      await on(first.client);
      await first.rig.tick();
      const restored = { ...first.rig.store.saved!, sameBoot: true };
      expect(restored.duty.mist!.on).toBe(true);
      const { client } = await Rig.live(prop, { bootS: 501, restored });
      expect(await secondsLeft(client)).toBeCloseTo(10, 1);
    });

    test('a damaged state file: the whole rest is due', async () => {
      const rig = await Rig.open(prop, { restored: 'damaged' });
      const client = rig.client('desk');
      await client.call('lockout.clear', { force: true, reason: 'I looked' });
      await rig.wake(client);
      expect(await secondsLeft(client)).toBeGreaterThan(8);
    });

    test.each([
      ['negative use', { usedS: -1e6, on: false, changedS: 499, output: 'main 0' }, 4],
      ['use without end', { usedS: 1e308, on: false, changedS: 499, output: 'main 0' }, 0],
      ['an opening in the future', { usedS: 4, on: false, changedS: 1e308, output: 'main 0' }, 0],
    ])('a record with %s gives no more than maxOnS', async (_what, record, leftS) => {
      const restored = { settled: true, sameBoot: true, positions: {}, duty: { mist: record } };
      const { rig } = await Rig.live(prop, { bootS: 500, restored });
      expect(rig.core.body.relay('mist').duty!.leftS(0.1)).toBe(leftS);
    });
  });

  test('by itself: leftS and restLeftS', () => {
    const guard = new DutyGuard(4, 10);
    expect([guard.leftS(0), guard.restLeftS(0)]).toEqual([4, 0]);
    guard.change(true, 1);
    expect([guard.leftS(3), guard.restLeftS(3)]).toEqual([2, 0]);
    guard.change(false, 5);
    expect([guard.leftS(6), guard.restLeftS(6)]).toEqual([0, 9]);
    expect([guard.leftS(15), guard.restLeftS(15)]).toEqual([4, 0]);
  });
});
