import { describe, expect, test } from 'vitest';
import { lamp, makeProp, Rig, relay, rgb } from '../rig.ts';

/**
 * What lies between a pin and its light decides which level is dark, in the driver and in the plan of
 * safe levels alike.
 */
const ANODE = { output: { pins: [5, 6, 13], common: 'anode' } };
const CATHODE = { output: { pins: [5, 6, 13], common: 'cathode' } };

async function levels(channel: ReturnType<typeof rgb>) {
  const { rig, client } = await Rig.live(makeProp({ eye: channel, nod: relay() }));
  const outputs = () => rig.board().outputs.filter(({ name }) => name.startsWith('eye'));
  const safe = outputs().map((output) => output.safe);
  await client.call('channel.colour', { channel: 'eye', to: 'red' });
  await rig.run(100);
  const lit = ['red', 'green', 'blue'].map((colour) => rig.at(`eye.${colour}`));
  await client.call('stop', { category: 0 });
  await rig.run(50);
  const stopped = ['red', 'green', 'blue'].map((colour) => rig.at(`eye.${colour}`));
  return { safe, lit, stopped };
}

describe('a light', () => {
  test.each([
    ['anode on the pins', { ...ANODE }, 1],
    ['anode through npn', { ...ANODE, through: 'npn' }, 0],
    ['anode through n-mosfet', { ...ANODE, through: 'n-mosfet' }, 0],
    ['anode through a driver board', { ...ANODE, through: 'driver board' }, 0],
    [
      'a driver board that lights on a low level',
      { output: { ...ANODE.output, activeLow: true }, through: 'driver board' },
      1,
    ],
    ['anode, and nothing between', { ...ANODE, through: 'nothing' }, 1],
    ['cathode on the pins', { ...CATHODE }, 0],
  ] as const)('%s', async (_, more, dark) => {
    const { safe, lit, stopped } = await levels(rgb(more as never));
    expect(safe).toEqual([dark, dark, dark]);
    expect(lit).toEqual([1 - dark, dark, dark]);
    expect(stopped).toEqual([dark, dark, dark]);
  });

  test('a lamp through a transistor is dark low', async () => {
    const rig = await Rig.open(makeProp({ glow: lamp({ through: 'npn' }) }));
    expect(rig.board().outputs.map(({ safe }) => safe)).toEqual([0]);
  });
});

test('a relay through a transistor opens low, and stays closed high where closed is safe', async () => {
  const rig = await Rig.open(
    makeProp({
      fan: relay({ through: 'n-mosfet' }),
      brake: relay({ through: 'npn', safe: 'on', park: { to: 'on' } }),
    }),
  );
  expect(rig.board().outputs.map(({ safe }) => safe)).toEqual([0, 1]);
});
