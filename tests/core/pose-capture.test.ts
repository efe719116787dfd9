import { beforeEach, describe, expect, test } from 'vitest';
import { type Client, lamp, makeProp, Rig, relay, rgb, servo } from './rig.ts';

const CHANNELS = {
  neck: servo({ marks: { up: 20, high: 20, level: 0 } }),
  jaw: servo({ limitsDeg: [-40, 12.34] }),
  fan: relay({ duty: { maxOnS: 20, restS: 40 } }),
  glow: lamp(),
  eye: rgb(),
};
const POSES = { alert: { neck: 'high', jaw: 3.1, eye: 'red', glow: 0.5 } };

let rig: Rig;
let client: Client;
beforeEach(async () => {
  ({ rig, client } = await Rig.live(makeProp(CHANNELS, { poses: POSES })));
});

async function stand(): Promise<void> {
  await client.call('channel.move', { channel: 'neck', to: 'up' });
  await client.call('channel.move', { channel: 'jaw', to: 7.4567 });
  await client.call('channel.switch', { channel: 'fan', on: true });
  await client.call('channel.dim', { channel: 'glow', to: 0.33333 });
  await client.call('channel.colour', { channel: 'eye', to: '#ff0000' });
  await rig.run(2000);
}

describe('a captured pose', () => {
  test('has a mark where a servo stands exactly there, else 0.1 deg; relays and lights as they are', async () => {
    await stand();
    const { values, left } = await client.call('pose.capture', { pose: 'now' });
    expect(left).toEqual([]);
    expect(values).toEqual({ neck: 'up', jaw: 7.5, fan: 'on', glow: 0.333, eye: '#ff0000' });
    expect(rig.editor.edits).toEqual([{ path: ['poses', 'now'], value: values }]);
    // It is in use, and going there moves by no more than the rounding.
    await client.call('pose.go', { pose: 'now' });
    await rig.run(1000);
    expect(rig.core.body.servo('jaw').setpoint.pos).toBeCloseTo(7.5, 6);
    expect(rig.entries.at(-2)!.text).toMatch(/pose now is where 5 channels are now/);
  });

  test('of a pose that is there, keeps what means the same, and all that is not captured', async () => {
    await stand();
    const { values } = await client.call('pose.capture', {
      pose: 'alert',
      channels: ['neck', 'jaw', 'eye', 'neck'],
    });
    expect(values).toEqual({ neck: 'high', jaw: 7.5, eye: 'red' });
    expect(rig.editor.edits.map(({ path }) => path.at(-1))).toEqual(['neck', 'jaw', 'eye']);
  });

  test('is never outside a limit by its rounding', async () => {
    await client.call('channel.move', { channel: 'jaw', to: 12.34 });
    await rig.run(2000);
    const { values } = await client.call('pose.capture', { pose: 'now', channels: ['jaw'] });
    expect(values).toEqual({ jaw: 12.3 });
    await client.call('channel.move', { channel: 'jaw', to: -39.98 });
    await rig.run(3000);
    expect((await client.call('pose.capture', { pose: 'low', channels: ['jaw'] })).values).toEqual({
      jaw: -40,
    });
  });

  test('is refused while a channel of it changes, which is named; others do not matter', async () => {
    await client.call('channel.move', { channel: 'neck', to: 30, overS: 3 });
    await client.call('channel.dim', { channel: 'glow', to: 1, fadeS: 3 });
    await rig.run(500);
    const all = await client.refused('pose.capture', { pose: 'now' });
    expect(all).toMatchObject({ word: 'capture.moving', values: { channels: ['neck', 'glow'] } });
    expect(rig.editor.edits).toEqual([]);
    const some = await client.call('pose.capture', { pose: 'now', channels: ['jaw', 'fan'] });
    expect(some.values).toEqual({ jaw: 0, fan: 'off' });
  });

  test('leaves out what nobody knows; naming it is refused', async () => {
    rig.core.body.servo('jaw').known = false;
    const { values, left } = await client.call('pose.capture', { pose: 'now' });
    expect(Object.keys(values)).toEqual(['neck', 'fan', 'glow', 'eye']);
    expect(left).toEqual([
      { channel: 'jaw', why: expect.stringMatching(/nobody knows where jaw/) },
    ]);
    expect(
      await client.refused('pose.capture', { pose: 'now', channels: ['neck', 'jaw'] }),
    ).toMatchObject({ word: 'capture.unknown', values: { channel: 'jaw' } });
    expect(
      await client.refused('pose.capture', { pose: 'now', channels: ['neck', 'nose'] }),
    ).toMatchObject({ word: 'channel.unknown' });
  });

  test('does not hold a servo that was led beyond its limits', async () => {
    await client.call('channel.move', { channel: 'jaw', to: 12 });
    await rig.run(2000);
    await client.call('channel.jog', { channel: 'jaw', byDeg: 3, beyondLimits: true });
    await rig.run(1000);
    expect((await client.call('pose.capture', { pose: 'now' })).left).toEqual([
      { channel: 'jaw', why: expect.stringMatching(/outside its limits -40 to 12\.34 deg/) },
    ]);
    expect(await client.refused('pose.capture', { pose: 'now', channels: ['jaw'] })).toMatchObject({
      word: 'capture.outside',
    });
  });

  test('needs the lease', async () => {
    const other = rig.client('phone');
    expect(await other.refused('pose.capture', { pose: 'now' })).toMatchObject({
      word: expect.stringMatching(/^lease\./),
    });
  });
});
