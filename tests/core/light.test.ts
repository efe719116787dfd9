import { describe, expect, test } from 'vitest';
import { linearToSrgb } from '../../src/sums/light.ts';
import { generalFlashes, redFlashes } from '../sums/flashes.ts';
import { type Client, lamp, makeProp, Rig, rgb, settle, TICK_MS } from './rig.ts';

type Sample = { tS: number; luminance: number };

/** The luminance that leaves an output, at every tick. */
function record(rig: Rig, luminance: () => number): Sample[] {
  const samples: Sample[] = [];
  rig.afterTick = () => samples.push({ tS: rig.clock.nowMs() / 1000, luminance: luminance() });
  return samples;
}

/** General flashes in the worst second, counted without the guard's own sums: see generalFlashes. */
const worst = (samples: Sample[]) => generalFlashes(samples.filter(changes));
const changes = ({ luminance }: Sample, i: number, all: Sample[]) =>
  i === 0 || luminance !== all[i - 1]!.luminance;

/** Relative luminance of the three duties, linear light (WCAG 2.2, "relative luminance"). */
const eyeLuminance = (rig: Rig, common: 'anode' | 'cathode') => () => {
  const [red, green, blue] = ['red', 'green', 'blue'].map((colour) => {
    const duty = rig.at(`eye.${colour}`);
    return common === 'anode' ? 1 - duty : duty;
  });
  return 0.2126 * red! + 0.7152 * green! + 0.0722 * blue!;
};

const swing = async (rig: Rig, client: Client, periodMs: number, totalMs: number) => {
  for (let i = 0; i * periodMs < totalMs; i++) {
    await client.call('channel.dim', { channel: 'glow', to: i % 2 === 0 ? 1 : 0 });
    await rig.run(periodMs);
  }
};

describe('flashes on a lamp', () => {
  test.each([5, 20, 50, 100, 150, 200])('asked for every %d ms', async (periodMs) => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp() }));
    const samples = record(rig, () => rig.at('glow'));
    await swing(rig, client, periodMs, 5000);
    expect(worst(samples)).toBeLessThanOrEqual(3);
    expect(worst(samples)).toBeGreaterThan(0);
  });

  test('without the guard the same program would flash more often', async () => {
    const open = lamp({ flash: { unrestricted: true, reason: 'a strobe behind a closed door' } });
    const { rig, client } = await Rig.live(makeProp({ glow: open }));
    const samples = record(rig, () => rig.at('glow'));
    await swing(rig, client, 50, 5000);
    expect(worst(samples)).toBeGreaterThan(5);
  });

  test('a held change is flagged, and comes when it may', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp() }));
    await swing(rig, client, 20, 200);
    await client.call('channel.dim', { channel: 'glow', to: 1 });
    await rig.tick();
    const flags = (await client.call('channel.list')).channels.glow!.flags;
    expect(flags).toContain('flashHeld');
    await rig.run(1500);
    expect(rig.at('glow')).toBe(1);
    expect((await client.call('channel.list')).channels.glow!.flags).not.toContain('flashHeld');
  });

  test('slow fades cut short again and again count as well', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp({ fadeS: 0.1 }) }));
    const samples = record(rig, () => rig.at('glow'));
    for (let i = 0; i < 100; i++) {
      await client.call('channel.dim', { channel: 'glow', to: i % 2 ? 0.2 : 0.9, fadeS: 0.15 });
      await rig.run(65);
    }
    expect(worst(samples)).toBeLessThanOrEqual(3);
  });

  test('identify, over and over', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp() }));
    const samples = record(rig, () => rig.at('glow'));
    for (let i = 0; i < 30; i++) {
      await client.call('channel.identify', { channel: 'glow' });
      await rig.run(130);
    }
    expect(worst(samples)).toBeLessThanOrEqual(3);
  });
});

test.each(['anode', 'cathode'] as const)('flashes on an rgb channel, common %s', async (common) => {
  const { rig, client } = await Rig.live(makeProp({ eye: rgb({ output: { common } }) }));
  const samples = record(rig, eyeLuminance(rig, common));
  const colours = ['white', 'black', 'lime', 'navy', 'yellow', 'red'];
  for (let i = 0; i < 600; i++) {
    await client.call('channel.colour', { channel: 'eye', to: colours[i % colours.length]! });
    await rig.tick();
    await settle();
  }
  expect(worst(samples)).toBeLessThanOrEqual(3);
  expect(worst(samples)).toBeGreaterThan(0);
});

test('red flashes on an rgb channel, of one luminance', async () => {
  const { rig, client } = await Rig.live(makeProp({ eye: rgb({ output: { common: 'cathode' } }) }));
  const samples: { tS: number; red: number; green: number; blue: number }[] = [];
  rig.afterTick = () => {
    const [red, green, blue] = ['red', 'green', 'blue'].map((one) =>
      linearToSrgb(rig.at(`eye.${one}`)),
    );
    samples.push({ tS: rig.clock.nowMs() / 1000, red: red!, green: green!, blue: blue! });
  };
  for (let i = 0; i < 40; i++) {
    const to = i % 2 ? 'color(srgb-linear 0.3 0 0)' : 'color(srgb-linear 0 0 0.883)';
    await client.call('channel.colour', { channel: 'eye', to });
    await rig.run(50);
  }
  expect(redFlashes(samples)).toBe(3);
});

test('a stop is dark at once, whatever the guard would hold back', async () => {
  const { rig, client } = await Rig.live(makeProp({ glow: lamp() }));
  await swing(rig, client, 20, 500);
  await client.call('channel.dim', { channel: 'glow', to: 1 });
  await rig.run(1500);
  await swing(rig, client, 30, 150);
  await client.call('channel.dim', { channel: 'glow', to: 1 });
  await rig.run(1500);
  expect(rig.at('glow')).toBe(1);
  await client.call('stop', { category: 0 });
  await rig.tick();
  expect(rig.at('glow')).toBe(0);
});

describe('fades', () => {
  test('take the time asked for', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp() }));
    await client.call('channel.dim', { channel: 'glow', to: 1, fadeS: 2 });
    await rig.run(1000);
    expect(rig.core.body.lamp('glow').value).toBeCloseTo(0.5, 2);
    await rig.run(1000 + TICK_MS);
    expect(rig.at('glow')).toBe(1);
  });

  test('never take less than the slew limit, in proportion to their size', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp({ fadeS: 4 }) }));
    const lampOf = () => rig.core.body.lamp('glow');
    await client.call('channel.dim', { channel: 'glow', to: 0.5 });
    let before = 0;
    rig.afterTick = () => {
      expect(lampOf().value - before).toBeLessThanOrEqual(TICK_MS / 4000 + 1e-9);
      before = lampOf().value;
    };
    await rig.run(1990);
    expect(lampOf().fading).toBe(true);
    await rig.run(20);
    expect(lampOf().value).toBe(0.5);
  });

  test('an output is written only while it changes', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp(), eye: rgb() }));
    await client.call('channel.dim', { channel: 'glow', to: 1, fadeS: 0.1 });
    await rig.run(500);
    const { length } = rig.writes;
    await rig.run(5000);
    expect(rig.writes).toHaveLength(length);
  });
});
