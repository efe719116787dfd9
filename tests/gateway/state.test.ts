import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import type { JournalEntry } from '../../src/api/types.ts';
import { CONDITIONS } from '../../src/shared/condition.ts';
import { FIELD, FLAG, RAIL_FIELD } from '../../src/shared/telemetry.ts';
import { type Client, type Json, Rig, until } from './helpers.ts';

const [BEAK, MIST, EYE, LANTERN] = [0, 1, 2, 3] as const;
const LIVE = CONDITIONS.indexOf('live');

let rig: Rig;
let client: Client;

/** One tick of the core: sets fields of channels. */
const tick = (tS: number, changes: Parameters<Rig['tick']>[1] = []): void =>
  rig.tick(tS, changes, { amps: 1.23456 });

const frames = (of: Client): Json[] =>
  of.messages.filter((message) => message.method === 'state').map((message) => message.params);

async function frame(of: Client, number: number): Promise<Json> {
  await until(() => frames(of).length > number, `state frame ${number}`);
  return frames(of)[number];
}

beforeEach(async () => {
  rig = await Rig.start();
  client = await rig.open();
  tick(1.23456, [
    [BEAK, FIELD.value, 12.34567],
    [BEAK, FIELD.target, 30],
    [BEAK, FIELD.pulseUs, 1637],
    [BEAK, FIELD.flags, FLAG.moving | FLAG.pushing],
    [BEAK, FIELD.amps, 0.25049],
    [BEAK, FIELD.measuredDeg, 11.98765],
    [BEAK, FIELD.measuredA, 0.31249],
    [MIST, FIELD.value, 1],
    [MIST, FIELD.target, 0],
    [MIST, FIELD.amps, 0.45],
    [EYE, FIELD.value, 1],
    [EYE, FIELD.value + 1, 0.5],
    [EYE, FIELD.value + 2, 0],
    [EYE, FIELD.target, 0],
    [EYE, FIELD.target + 1, 0.2],
    [EYE, FIELD.target + 2, 1],
    [LANTERN, FIELD.value, 0.123456],
    [LANTERN, FIELD.target, 1],
  ]);
});
afterEach(() => rig.end());

describe('state frames', () => {
  it('the first one holds everything, in the units of the API', async () => {
    expect((await client.call('state.follow', { hz: 50 })).result).toEqual({ hz: 50 });
    rig.clock.advance(0);
    expect(await frame(client, 0)).toEqual({
      condition: 'live',
      t: 1.235,
      tick: 247,
      holder: null,
      channels: {
        beak: {
          value: 12.346,
          target: 30,
          pulseUs: 1637,
          flags: ['moving', 'pushing'],
          pushing: true,
          amps: 0.25,
          measuredDeg: 11.988,
          measuredA: 0.312,
        },
        mist: { value: true, target: false, flags: [], amps: 0.45 },
        // 0.5 * 255 = 127.5 and 0.2 * 255 = 51: CSS Color 4, 4.2, hexadecimal notation.
        eye: { value: '#ff8000', target: '#0033ff', flags: [], amps: 0 },
        lantern: { value: 0.1235, target: 1, flags: [], amps: 0 },
      },
      rails: { servo6v: { amps: 1.235, limitA: 5 } },
    });
  });

  it('what is not measured is left out; what is measured of a rail is told', async () => {
    tick(2, [
      [BEAK, FIELD.measuredDeg, Number.NaN],
      [BEAK, FIELD.measuredA, Number.NaN],
    ]);
    rig.telemetry.begin({ nowS: 2.005 }, 401, LIVE);
    rig.telemetry.numbers[rig.telemetry.railAt(0) + RAIL_FIELD.measuredA] = 1.5;
    rig.telemetry.commit();
    await client.call('state.follow', { hz: 50 });
    rig.clock.advance(0);
    const { channels, rails } = await frame(client, 0);
    expect(channels.beak).not.toHaveProperty('measuredDeg');
    expect(channels.beak).not.toHaveProperty('measuredA');
    expect(rails.servo6v).toEqual({ amps: 1.235, measuredA: 1.5, limitA: 5 });
  });

  it('later ones hold what changed, and come also when nothing did', async () => {
    await client.call('state.follow', { hz: 50 });
    rig.clock.advance(0);
    await frame(client, 0);
    rig.clock.advance(20);
    expect((await frame(client, 1)).channels).toEqual({});
    tick(2, [[LANTERN, FIELD.value, 0.5]]);
    rig.clock.advance(20);
    expect(await frame(client, 2)).toMatchObject({ t: 2, channels: { lantern: { value: 0.5 } } });
    expect(Object.keys((await frame(client, 2)).channels)).toEqual(['lantern']);
    // Less than what is shown is not a change.
    tick(3, [[LANTERN, FIELD.value, 0.500001]]);
    rig.clock.advance(20);
    expect((await frame(client, 3)).channels).toEqual({});
  });

  it('hz frames come in a second, from the first on', async () => {
    await client.call('state.follow', { hz: 10 });
    rig.clock.advance(999);
    await frame(client, 9);
    await client.call('state.unfollow');
    expect(frames(client).length).toBe(10);
    rig.clock.advance(1000);
    await client.call('state.unfollow');
    expect(frames(client).length).toBe(10);
  });

  it('a new rate replaces the old one and starts with everything', async () => {
    await client.call('state.follow', { hz: 10 });
    rig.clock.advance(0);
    await frame(client, 0);
    await client.call('state.follow', { hz: 2 });
    rig.clock.advance(1999);
    await frame(client, 4);
    await client.call('state.unfollow');
    const got = frames(client);
    expect(got.length).toBe(5);
    expect(Object.keys(got[1].channels)).toEqual(['beak', 'mist', 'eye', 'lantern']);
    expect(got[2].channels).toEqual({});
  });

  it('one who joins later at the same rate gets everything first, and then the same', async () => {
    await client.call('state.follow', { hz: 50 });
    rig.clock.advance(0);
    await frame(client, 0);
    const late = await rig.open('late');
    await late.call('state.follow', { hz: 50 });
    tick(2, [[LANTERN, FIELD.value, 0.5]]);
    rig.clock.advance(20);
    expect(Object.keys((await frame(client, 1)).channels)).toEqual(['lantern']);
    expect(Object.keys((await frame(late, 0)).channels).length).toBe(4);
    tick(3, [[BEAK, FIELD.value, 1]]);
    rig.clock.advance(20);
    expect(Object.keys((await frame(client, 2)).channels)).toEqual(['beak']);
    expect(await frame(late, 1)).toEqual(await frame(client, 2));
  });

  it('followers of different rates each end up with the last value', async () => {
    const slow = await rig.open('slow');
    await client.call('state.follow', { hz: 50 });
    await slow.call('state.follow', { hz: 1 });
    const shown = new Map<Client, Json>([
      [client, {}],
      [slow, {}],
    ]);
    for (let step = 0; step < 150; step++) {
      tick(step, [[BEAK, FIELD.value, step % 3 === 0 ? step : 0]]);
      rig.clock.advance(20);
    }
    tick(150, [[BEAK, FIELD.value, 7]]);
    rig.clock.advance(1000);
    await client.call('state.unfollow');
    await slow.call('state.unfollow');
    for (const [of, state] of shown) {
      for (const { channels } of frames(of)) Object.assign(state, channels);
      expect(state.beak.value).toBe(7);
    }
    expect(frames(slow).length).toBeLessThan(6);
  });

  it('the holder is told', async () => {
    rig.send({ t: 'holder', holder: 'bench "1"' });
    await client.call('state.follow', { hz: 50 });
    await until(() => {
      rig.clock.advance(20);
      return frames(client).some(({ holder }) => holder === 'bench "1"');
    }, 'the holder');
  });

  it('a session that ends is sent nothing more, and its timer goes with it', async () => {
    const other = await rig.open('other');
    await other.call('state.follow', { hz: 50 });
    other.socket.terminate();
    await until(() => rig.of('gone').length === 1, 'gone');
    rig.clock.advance(1000);
    expect((await client.call('park')).result).toBeDefined();
  });

  it('a core caught in the middle of a tick gives no frame, and none that is torn', async () => {
    await client.call('state.follow', { hz: 50 });
    rig.telemetry.begin({ nowS: 9 }, 1800, LIVE);
    rig.telemetry.numbers[rig.telemetry.channelAt(BEAK) + FIELD.value] = 99;
    rig.clock.advance(100);
    await client.call('park');
    expect(frames(client)).toEqual([]);
    rig.telemetry.commit();
    rig.clock.advance(20);
    expect((await frame(client, 0)).channels.beak.value).toBe(99);
  });
});

describe('journal entries', () => {
  const entry: JournalEntry = {
    seq: 1,
    time: '2026-01-01T00:00:00.000Z',
    who: 'bench',
    what: 'channel.move',
    text: 'beak to 30 deg',
    tick: 7,
  };
  const events = (of: Client) => of.messages.filter((message) => message.method === 'event');

  it('go to those who asked for them', async () => {
    const other = await rig.open('other');
    await client.call('state.follow', { hz: 1, journal: true });
    await other.call('state.follow', { hz: 1 });
    rig.send({ t: 'event', entry });
    await until(() => events(client).length === 1, 'the event');
    expect(events(client)).toEqual([{ jsonrpc: '2.0', method: 'event', params: { entry } }]);
    await client.call('state.follow', { hz: 1 });
    rig.send({ t: 'event', entry });
    await client.call('park');
    expect(events(client).length).toBe(1);
    expect(events(other)).toEqual([]);
  });
});
