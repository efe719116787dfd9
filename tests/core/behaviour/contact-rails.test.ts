import { expect, test } from 'vitest';
import { makeProp, Rig, relay } from '../rig.ts';

const RAILS = {
  rails: { five: { volts: 5, limitA: 1 }, mist: { volts: 24, limitA: 2 } },
};
const MIST = {
  rail: 'five',
  contact: { mode: 'held', rail: 'mist', common: 'K1-1', open: 'K1-2' },
  draw: { onA: 0.8, coilA: 0.07 },
};

test('a relay loads two rails: its contact’s and its coil’s', async () => {
  const { rig, client } = await Rig.live(makeProp({ mist: relay(MIST) }, RAILS));
  await rig.run(50);
  expect([rig.amps('five'), rig.amps('mist')]).toEqual([0, 0]);
  await client.call('channel.switch', { channel: 'mist', on: true });
  await rig.run(50);
  expect(rig.amps('five')).toBeCloseTo(0.07, 9);
  expect(rig.amps('mist')).toBeCloseTo(0.8, 9);
});

test('a coil whose rail has no room is not switched on', async () => {
  const prop = makeProp(
    {
      mist: relay({ ...MIST, draw: { onA: 0.1, coilA: 0.6 } }),
      fan: relay({ rail: 'five', draw: { onA: 0.6 } }),
    },
    RAILS,
  );
  const { rig, client } = await Rig.live(prop);
  await client.call('channel.switch', { channel: 'fan', on: true });
  await rig.run(50);
  await expect(client.call('channel.switch', { channel: 'mist', on: true })).rejects.toThrow(
    /five/,
  );
});

test('a momentary contact may name its terminals', async () => {
  const bell = relay({
    contact: { mode: 'momentary', common: 'K1-1', open: 'K1-2' },
    pulseMs: 60,
  });
  const { rig, client } = await Rig.live(makeProp({ bell }));
  await client.call('channel.switch', { channel: 'bell', on: true });
  await rig.run(200);
  expect(rig.on('bell')).toBe(false);
});
