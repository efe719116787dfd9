import { converter } from 'culori';
import { describe, expect, test } from 'vitest';
import { cuePlan } from '../../../src/prop/cue-plan.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { makeProp, Rig, rgb } from '../rig.ts';

const BALANCE = [1, 0.74, 0.62] as const;
const PARTS = ['red', 'green', 'blue'] as const;
/** The linear light of a colour, each part 0..1, by culori (npm). */
const lrgb = converter('lrgb');
function linear(css: string): [number, number, number] {
  const { r, g, b } = lrgb(css)!;
  return [r, g, b];
}

const strip = (over: Record<string, unknown> = {}) =>
  rgb({ whiteBalance: [...BALANCE], rail: 'five', draw: { fullA: [0.4, 0.3, 0.2] }, ...over });
const RAILS = { rails: { five: { volts: 5, limitA: 2 } } };
const COLOURS = ['#ffffff', '#808080', 'orange', 'rebeccapurple', '#010203', '#000000'];

describe.each(['cathode', 'anode'] as const)('duties of a light with common %s', (common) => {
  test.each(COLOURS)('of %s are its linear light times the gains', async (css) => {
    const { rig, client } = await Rig.live(
      makeProp({ sky: strip({ output: { common } }), plain: rgb({ output: { common } }) }, RAILS),
    );
    await client.call('channel.colour', { channel: 'sky', to: css });
    await client.call('channel.colour', { channel: 'plain', to: css });
    await rig.run(100);
    const light = (output: string) => (common === 'anode' ? 1 - rig.at(output) : rig.at(output));
    for (const [i, part] of PARTS.entries()) {
      expect(light(`sky.${part}`)).toBeCloseTo(linear(css)[i]! * BALANCE[i]!, 9);
      expect(light(`plain.${part}`)).toBeCloseTo(linear(css)[i]!, 9);
    }
    // The balance is the light's own affair: what is shown has the colour that was asked for.
    const { sky, plain } = (await client.call('channel.list')).channels;
    expect(sky!.value).toBe(plain!.value);
  });
});

describe('draw of a balanced light', () => {
  test.each(COLOURS)('at %s follows its duties', async (css) => {
    const { rig, client } = await Rig.live(makeProp({ sky: strip() }, RAILS));
    await client.call('channel.colour', { channel: 'sky', to: css });
    await rig.run(100);
    const [red, green, blue] = linear(css);
    const amps = 0.4 * red * BALANCE[0] + 0.3 * green * BALANCE[1] + 0.2 * blue * BALANCE[2];
    expect(rig.amps('five')).toBeCloseTo(amps, 9);
  });

  // White takes 0.4 + 0.3 * 0.5 + 0.2 * 0.25 = 0.6 A balanced, 0.9 A without.
  const tight = (whiteBalance: number[]) => `
sinew: 1
name: Tight
boards: { head: { driver: sim } }
rails: { five: { volts: 5, limitA: 0.7 } }
channels:
  sky:
    kind: rgb
    output: { board: head, pins: [9, 10, 11] }
    through: driver board
    rail: five
    whiteBalance: [${whiteBalance.join(', ')}]
    draw: { fullA: [0.4, 0.3, 0.2] }
cues: { day: [{ at: 0, colour: { sky: "#ffffff" } }] }
`;

  test('fits a rail that the unbalanced light would overload', async () => {
    const balanced = parseProp(tight([1, 0.5, 0.25]), 'test.yaml');
    expect(balanced.findings).toEqual([]);
    expect(cuePlan(balanced.prop!, 'day').problems).toEqual([]);
    const { rig, client } = await Rig.live(balanced.prop!);
    await client.call('channel.colour', { channel: 'sky', to: 'white' });
    await rig.run(100);
    expect(rig.amps('five')).toBeCloseTo(0.6, 9);

    const [finding] = parseProp(tight([1, 1, 1]), 'test.yaml').findings;
    expect(finding).toMatchObject({ severity: 'error', path: 'channels.sky.draw' });
  });

  test.each([
    ['a gain above 1', [1.2, 1, 1], 'channels.sky.whiteBalance[0]'],
    ['a gain of 0', [1, 0, 1], 'channels.sky.whiteBalance[1]'],
    ['a gain below 0', [1, 1, -0.5], 'channels.sky.whiteBalance[2]'],
    ['two gains', [1, 1], 'channels.sky.whiteBalance'],
  ])('%s is an error with its place, and the only one', (_, whiteBalance, path) => {
    const { findings } = parseProp(tight(whiteBalance), 'test.yaml');
    expect(findings.map(({ severity, path: at }) => [severity, at])).toEqual([['error', path]]);
  });
});
