import { describe, expect, test } from 'vitest';
import { rehearse } from '../../../src/rehearsal/rehearse.ts';
import { WholeCounter } from '../../faults/flash-counter.ts';
import { type Client, lamp, makeProp, Rig, relay, rgb, servo } from '../rig.ts';

const lifted = { unrestricted: true, reason: 'a strobe behind a closed door' };

/** Counts, tick by tick, what leaves the pins: linear light, one channel weighing as much as another. */
function watch(rig: Rig, lamps: readonly string[], eyes: readonly string[] = [], share?: number[]) {
  const counter = new WholeCounter();
  const seen = { general: 0, colour: 0, changes: 0 };
  let last = '';
  rig.afterTick = () => {
    const sum = [0, 0, 0];
    lamps.forEach((name, i) => {
      for (const k of [0, 1, 2]) sum[k]! += rig.at(name) * (share?.[i] ?? 1);
    });
    for (const name of eyes)
      ['red', 'green', 'blue'].forEach((colour, k) => {
        sum[k]! += rig.at(`${name}.${colour}`);
      });
    const { general, colour } = counter.add(rig.clock.nowMs() / 1000, sum[0]!, sum[1]!, sum[2]!);
    seen.general = Math.max(seen.general, general);
    seen.colour = Math.max(seen.colour, colour);
    if (String(sum) !== last) seen.changes++;
    last = String(sum);
  };
  return seen;
}

const flagsOf = async (client: Client, channel: string): Promise<readonly string[]> =>
  (await client.call('channel.list')).channels[channel]!.flags;

describe('all light of the prop together', () => {
  const eight = Array.from({ length: 8 }, (_, i) => `glow_${i}`);

  test('eight lamps, three flashes a second each, out of phase', async () => {
    const { rig, client } = await Rig.live(
      makeProp(Object.fromEntries(eight.map((name) => [name, lamp()]))),
    );
    const seen = watch(rig, eight);
    // 24 flashes a second in all: each lamp is lit for 20 ms in its turn.
    for (let i = 0; i < 120; i++) {
      const channel = eight[i % 8]!;
      await client.call('channel.dim', { channel, to: 1 });
      await rig.run(20);
      await client.call('channel.dim', { channel, to: 0 });
      await rig.run(20);
    }
    expect(seen.general).toBeLessThanOrEqual(3);
    expect(seen.general).toBeGreaterThan(1);
  });

  test.each([0.37, 0.1, 0.02])(
    'one lamp, dimmed to %d and 0 in turn, 100 times a second',
    async (to) => {
      const { rig, client } = await Rig.live(makeProp({ glow: lamp(), other: lamp() }));
      const seen = watch(rig, ['glow', 'other']);
      for (let i = 0; i < 600; i++) {
        await client.call('channel.dim', { channel: 'glow', to: i % 2 ? 0 : to });
        await rig.run(5);
      }
      expect(seen.general).toBeLessThanOrEqual(3);
      expect(seen.general).toBeGreaterThan(1);
    },
  );

  test('a bulb on a relay, switched in every tick', async () => {
    const { rig, client } = await Rig.live(makeProp({ bulb: relay({ light: true }) }));
    const seen = watch(rig, ['bulb']);
    let held = 0;
    for (let i = 0; i < 995; i++) {
      await client.call('channel.switch', { channel: 'bulb', on: i % 2 === 0 });
      await rig.run(5);
      if ((await flagsOf(client, 'bulb')).includes('flashHeld')) held++;
    }
    expect(seen.general).toBeLessThanOrEqual(3);
    expect(seen.general).toBeGreaterThan(1);
    expect(held).toBeGreaterThan(10);
  });

  test('a relay that is not a light is switched as often as asked for', async () => {
    const { rig, client } = await Rig.live(makeProp({ valve: relay({ minOnS: 0, minOffS: 0 }) }));
    const seen = watch(rig, ['valve']);
    for (let i = 0; i < 100; i++) {
      await client.call('channel.switch', { channel: 'valve', on: i % 2 === 0 });
      await rig.run(5);
    }
    expect(seen.changes).toBe(100);
  });

  // Equal in luminance: 0.2126 R = 0.7152 G = 0.0722 B = 0.05.
  const even = {
    red: 'color(srgb-linear 0.2352 0 0)',
    green: 'color(srgb-linear 0 0.0699 0)',
    blue: 'color(srgb-linear 0 0 0.6925)',
  };

  test.each([
    ['red', 'blue'],
    ['green', 'blue'],
    ['red', 'green'],
  ] as const)('%s and %s of one luminance, on three eyes out of phase', async (one, other) => {
    const eyes = ['left', 'right', 'third'];
    const { rig, client } = await Rig.live(
      makeProp(Object.fromEntries(eyes.map((name) => [name, rgb()]))),
    );
    for (const channel of eyes)
      await client.call('channel.colour', { channel, to: even[one], fadeS: 0.2 });
    await rig.run(3000);
    const seen = watch(rig, [], eyes);
    for (let i = 0; i < 100; i++) {
      const to = i % 2 ? even[one] : even[other];
      for (const channel of eyes) await client.call('channel.colour', { channel, to });
      await rig.run(50);
    }
    expect(seen.colour).toBeLessThanOrEqual(3);
    expect(seen.colour).toBeGreaterThan(1);
    expect(seen.general).toBeLessThanOrEqual(3);
  });

  test('a relay is opened at once, whatever waits: by hand, by a stop, an interlock, its duty', async () => {
    const prop = makeProp({
      bulb: relay({ light: true, requires: [{ channel: 'fan', is: 'on' }] }),
      heated: relay({ light: true, duty: { maxOnS: 0.5, restS: 1 } }),
      fan: relay({ duty: { maxOnS: 3, restS: 0.1 } }),
      glow: lamp(),
    });
    const { rig, client } = await Rig.live(prop);
    const seen = watch(rig, ['bulb', 'heated', 'glow']);
    const strobe = async () => {
      for (let i = 0; i < 60; i++) {
        await client.call('channel.dim', { channel: 'glow', to: i % 2 });
        await rig.run(15);
      }
    };
    const lightUp = async () => {
      await rig.run(1500);
      await client.call('channel.switch', { channel: 'fan', on: true });
      for (const channel of ['bulb', 'heated'])
        await client.call('channel.switch', { channel, on: true });
      await rig.tick();
      expect([rig.at('bulb'), rig.at('heated')]).toEqual([1, 1]);
    };
    await lightUp();
    await strobe();
    // Its duty guard has opened it meanwhile, in spite of the strobe.
    expect(rig.at('heated')).toBe(0);
    expect(rig.at('bulb')).toBe(1);
    await rig.until(() => !rig.on('fan'));
    await rig.tick();
    expect(rig.at('bulb')).toBe(0);
    await lightUp();
    await strobe();
    await client.call('channel.switch', { channel: 'bulb', on: false });
    await rig.tick();
    expect(rig.at('bulb')).toBe(0);
    await lightUp();
    await client.call('stop', { category: 2 });
    await rig.tick();
    expect([rig.at('bulb'), rig.at('heated')]).toEqual([0, 0]);
    expect(seen.general).toBeLessThanOrEqual(3);
  });

  test('what is held back comes within the second, and is no longer flagged', async () => {
    const { rig, client } = await Rig.live(
      makeProp({
        bulb: relay({ light: true, minOnS: 0, minOffS: 0 }),
        glow: lamp(),
        dial: relay({ requires: [{ channel: 'bulb', is: 'on' }] }),
      }),
    );
    for (let i = 0; i < 20; i++) {
      await client.call('channel.switch', { channel: 'bulb', on: i % 2 === 0 });
      await rig.tick();
    }
    await client.call('channel.switch', { channel: 'bulb', on: true });
    await client.call('channel.dim', { channel: 'glow', to: 1 });
    await rig.tick();
    expect([rig.at('bulb'), rig.at('glow')]).toEqual([0, 0]);
    const { bulb } = (await client.call('channel.list')).channels;
    expect(bulb).toMatchObject({ value: false, target: true });
    expect(await flagsOf(client, 'bulb')).toContain('flashHeld');
    expect(await flagsOf(client, 'glow')).toContain('flashHeld');
    // What needs the bulb on waits for the contact, not for the wish.
    expect((await client.refused('channel.switch', { channel: 'dial', on: true })).kind).toBe(
      'interlock',
    );
    await rig.run(1100);
    expect([rig.at('bulb'), rig.at('glow')]).toEqual([1, 1]);
    expect(await flagsOf(client, 'bulb')).not.toContain('flashHeld');
    expect(rig.texts('flash').length).toBeGreaterThan(0);
    expect(rig.texts('flash').length).toBeLessThan(3);
  });

  test('a steady light goes on fading while another is held', async () => {
    const { rig, client } = await Rig.live(makeProp({ glow: lamp(), spark: lamp() }));
    await client.call('channel.dim', { channel: 'glow', to: 1 });
    await rig.run(2000);
    await client.call('channel.dim', { channel: 'glow', to: 0.97, fadeS: 1 });
    for (let i = 0; i < 40; i++) {
      await client.call('channel.dim', { channel: 'spark', to: i % 2 ? 0 : 0.6 });
      await rig.run(20);
    }
    expect(rig.core.body.lamp('glow').value).toBeLessThan(0.98);
  });

  test('a park ends dark though the light flashed before it', async () => {
    const { rig, client } = await Rig.live(
      makeProp({ bulb: relay({ light: true }), glow: lamp(), eye: rgb(), neck: servo() }),
    );
    for (let i = 0; i < 40; i++) {
      await client.call('channel.dim', { channel: 'glow', to: i % 2 });
      await client.call('channel.switch', { channel: 'bulb', on: i % 3 === 0 });
      await rig.tick();
    }
    await client.call('park');
    await rig.until(() => rig.condition === 'parked', 3);
    expect([rig.at('bulb'), rig.at('glow')]).toEqual([0, 0]);
  });

  test('weights: a small share does not count as a flash beside a steady light', async () => {
    const blink = async (share: number) => {
      const { rig, client } = await Rig.live(
        makeProp({
          glow: lamp(),
          spark: lamp({ light: { share } }),
        }),
      );
      await client.call('channel.dim', { channel: 'glow', to: 1 });
      await rig.run(2000);
      const seen = watch(rig, ['glow', 'spark'], [], [1 - share, share]);
      // Below a tenth of its own full light, so that its own guard lets it pass.
      for (let i = 0; i < 60; i++) {
        await client.call('channel.dim', { channel: 'spark', to: i % 2 ? 0.36 : 0 });
        await rig.run(20);
      }
      return seen;
    };
    expect(await blink(0.3)).toMatchObject({ general: 0, changes: 60 });
    const large = await blink(0.6);
    expect(large.general).toBeLessThanOrEqual(3);
    expect(large.changes).toBeLessThan(20);
  });

  test('a light whose file lifts the limit neither waits nor makes others wait', async () => {
    const { rig, client } = await Rig.live(
      makeProp({ strobe: lamp({ flash: lifted }), glow: lamp() }),
    );
    let written = 0;
    for (let i = 0; i < 60; i++) {
      await client.call('channel.dim', { channel: 'strobe', to: i % 2 });
      await client.call('channel.dim', { channel: 'glow', to: 0.5, fadeS: 0.1 });
      await rig.tick();
      if (rig.at('strobe') === i % 2) written++;
    }
    expect(written).toBe(60);
    await rig.run(200);
    expect(rig.core.body.lamp('glow').value).toBe(0.5);
  });

  test('lifted for the whole prop, it is lifted for every light', async () => {
    const { rig, client } = await Rig.live(
      makeProp({ bulb: relay({ light: true }), glow: lamp() }, { flash: lifted }),
    );
    const seen = watch(rig, ['bulb', 'glow']);
    for (let i = 0; i < 60; i++) {
      await client.call('channel.dim', { channel: 'glow', to: i % 2 });
      await client.call('channel.switch', { channel: 'bulb', on: i % 2 === 1 });
      await rig.tick();
    }
    expect(seen.changes).toBeGreaterThanOrEqual(59);
  });

  test.each([1, 2, 3, 4, 5, 6])('random commands (seed %i)', async (seed) => {
    let state = seed * 7919;
    const random = () => {
      state = (state * 1103515245 + 12345) % 2147483648;
      return state / 2147483648;
    };
    const lamps = ['a', 'b', 'c'];
    const prop = makeProp({
      a: lamp(),
      b: lamp({ fadeS: 0.2 }),
      c: relay({ light: true }),
      eye: rgb(),
      ear: rgb({ fadeS: 0.1 }),
    });
    const { rig, client } = await Rig.live(prop);
    const seen = watch(rig, lamps, ['eye', 'ear']);
    const colours = ['red', 'blue', 'lime', 'white', 'black', '#200000', '#000040', 'orange'];
    for (let i = 0; i < 500; i++) {
      const dice = random();
      const channel = dice < 0.3 ? 'a' : 'b';
      if (dice < 0.5) await client.call('channel.dim', { channel, to: random() ** 3 });
      else if (dice < 0.7) await client.call('channel.switch', { channel: 'c', on: dice < 0.6 });
      else
        await client.call('channel.colour', {
          channel: dice < 0.85 ? 'eye' : 'ear',
          to: colours[Math.floor(random() * colours.length)]!,
        });
      await rig.run(5 * Math.floor(1 + 8 * random()));
    }
    expect(seen.general).toBe(3);
    expect(seen.colour).toBeLessThanOrEqual(3);
  });
});

describe('the rehearsal', () => {
  const steps = (periodS: number) =>
    Array.from({ length: 24 }, (_, i) => ({
      at: i * periodS,
      dim: { [`glow_${i % 4}`]: 1, [`glow_${(i + 3) % 4}`]: 0 },
      switch: { bulb: i % 2 ? 'on' : 'off' },
    }));
  const four = Object.fromEntries([0, 1, 2, 3].map((i) => [`glow_${i}`, lamp()]));
  const stage = (periodS: number, over = {}) =>
    makeProp(
      { ...four, bulb: relay({ light: true }) },
      { cues: { show: steps(periodS) }, ...over },
    );

  test('counts the flashes of the whole prop, as planned and as shown, and says what is held', async () => {
    const { light, events } = await rehearse(stage(0.1), 'show');
    expect(light.plannedFlashes).toBe(5);
    expect(light.flashes).toBeLessThanOrEqual(3);
    expect(events.map(({ what }) => what)).toContain('flash');
  });

  test('a calm cue has nothing to say', async () => {
    const { light, events } = await rehearse(stage(0.25), 'show');
    expect(light).toMatchObject({ plannedFlashes: 2, flashes: 2, colourFlashes: 0 });
    expect(events).toEqual([]);
  });
});
