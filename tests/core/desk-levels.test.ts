import { describe, expect, test } from 'vitest';
import { lamp, makeProp, pulseOf, Rig, rgb, servo } from './rig.ts';

const prop = (e131: Record<string, unknown> = {}) =>
  makeProp(
    { lantern: lamp(), eye: rgb(), neck: servo(), lid: servo() },
    {
      e131: {
        universe: 1,
        lossFadeS: 2,
        map: {
          lantern: { address: 1 },
          eye: { address: 2 },
          neck: { address: 5, allowMotion: true },
          lid: { address: 6 },
        },
        ...e131,
      },
      cues: { glow: [{ at: 0, dim: { lantern: 0.2 } }], look: [{ at: 0, move: { neck: -20 } }] },
    },
  );

/** The same levels every 40 ms for so long. */
async function lead(
  rig: Rig,
  levels: Record<string, number[] | null>,
  ms: number,
  sources = ['Desk'],
) {
  for (let atMs = 0; atMs < ms; atMs += 40) {
    rig.core.desk.hear(levels, sources);
    await rig.run(40);
  }
}
const lamps = ({ core }: Rig) => core.body.lamp('lantern').value;
const refused = ({ core }: Rig) =>
  core.journal.read().flatMap(({ what, text }) => (what === 'refused' ? [text] : []));

describe('levels of a lighting desk: lights', () => {
  test('follow while the prop is live, and not before', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('park');
    await rig.until(() => rig.condition === 'parked');
    await lead(rig, { lantern: [0.5], eye: [1, 0.5, 0] }, 400);
    expect(lamps(rig)).toBe(0);
    await client.call('wake');
    await lead(rig, { lantern: [0.5], eye: [1, 0.5, 0] }, 2000);
    expect(lamps(rig)).toBe(0.5);
    expect(rig.core.body.rgb('eye').value).toEqual({ red: 1, green: 0.5, blue: 0 });
    expect(rig.texts('desk')).toEqual(['levels come from Desk']);
  });

  test('stay with a cue that took them until the level changes', async () => {
    const { rig, client } = await Rig.live(prop());
    await lead(rig, { lantern: [0.5] }, 400);
    await client.call('cue.run', { cue: 'glow' });
    await lead(rig, { lantern: [0.5] }, 1000);
    expect(lamps(rig)).toBe(0.2);
    await lead(rig, { lantern: [0.6] }, 400);
    expect(lamps(rig)).toBe(0.6);
  });

  test('flash no more often than the guard lets them', async () => {
    const { rig } = await Rig.live(prop());
    let flashes = 0;
    let last = 0;
    rig.afterTick = () => {
      const lit = lamps(rig) > 0.5 ? 1 : 0;
      if (lit > last) flashes++;
      last = lit;
    };
    for (let i = 0; i < 75; i++) await lead(rig, { lantern: [i % 2] }, 40);
    // Three seconds: WCAG 2.2, 2.3.1.
    expect(flashes).toBeGreaterThan(1);
    expect(flashes).toBeLessThanOrEqual(9);
  });

  test('go back when the desk is lost, as the file says, unless something else has them', async () => {
    const { rig, client } = await Rig.live(prop());
    await lead(rig, { lantern: [0.8], eye: [1, 1, 1] }, 400);
    await client.call('channel.colour', { channel: 'eye', to: '#00ff00' });
    await lead(rig, {}, 40, []);
    await rig.run(1000);
    expect(lamps(rig)).toBeGreaterThan(0.3);
    expect(lamps(rig)).toBeLessThan(0.5);
    await rig.run(1100);
    expect(lamps(rig)).toBe(0);
    expect(rig.core.body.rgb('eye').hex).toBe('#00ff00');
  });

  test('stay when the desk is lost where the file says hold', async () => {
    const { rig } = await Rig.live(prop({ onLoss: 'hold' }));
    await lead(rig, { lantern: [0.8] }, 400);
    await lead(rig, {}, 3000, []);
    expect(lamps(rig)).toBe(0.8);
  });

  test('go back when nothing is heard of the gateway either', async () => {
    const { rig } = await Rig.live(prop());
    await lead(rig, { lantern: [0.8] }, 400);
    await rig.run(3200);
    expect(lamps(rig)).toBe(0);
    expect(rig.texts('desk').some((text) => text === 'levels are lost')).toBe(true);
  });
});

describe('levels of a lighting desk: servos', () => {
  test('follow from the first change on, while somebody has control and has armed them', async () => {
    const { rig, client } = await Rig.live(prop());
    await lead(rig, { neck: [0.5] }, 200);
    await lead(rig, { neck: [1] }, 200);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
    expect(refused(rig)).toEqual([expect.stringContaining('has not armed triggers and E1.31')]);
    await client.call('trigger.arm', { armed: true });
    // What stood there before moves nothing.
    await lead(rig, { neck: [1] }, 600);
    expect(rig.servo('neck').setpoint.pos).toBe(0);
    await lead(rig, { neck: [0.75] }, 1500);
    expect(rig.at('neck')).toBe(pulseOf(20));
    await lead(rig, { neck: [0] }, 2000);
    expect(rig.at('neck')).toBe(pulseOf(-40));
  });

  test('never move without allowMotion', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { lid: [0] }, 200);
    await lead(rig, { lid: [1] }, 600);
    expect(rig.servo('lid').setpoint.pos).toBe(0);
  });

  test.each([
    ['the desk is lost', {}],
    ['two sources disagree', { neck: null }],
  ])('slow down and hold when %s, and go on only from a change', async (_why, levels) => {
    const { rig, client } = await Rig.live(prop());
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { neck: [0.5] }, 80);
    await lead(rig, { neck: [1] }, 80);
    await lead(rig, levels, 600);
    const { pos } = rig.servo('neck').setpoint;
    expect(rig.servo('neck').moving).toBe(false);
    expect(pos).toBeGreaterThan(0);
    expect(pos).toBeLessThan(39);
    await lead(rig, { neck: [1] }, 600);
    expect(rig.servo('neck').setpoint.pos).toBe(pos);
    await lead(rig, { neck: [0.5] }, 1500);
    expect(rig.at('neck')).toBe(pulseOf(0));
  });

  test('stay with a cue that took them until the level changes', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { neck: [0.5] }, 80);
    await lead(rig, { neck: [0.75] }, 1000);
    await client.call('cue.run', { cue: 'look' });
    await lead(rig, { neck: [0.75] }, 1500);
    expect(rig.at('neck')).toBe(pulseOf(-20));
    await lead(rig, { neck: [1] }, 1500);
    expect(rig.at('neck')).toBe(pulseOf(40));
  });

  test.each(['stop', 'park'] as const)('do nothing after %s', async (method) => {
    const { rig, client } = await Rig.live(prop());
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { neck: [0.5] }, 80);
    await lead(rig, { neck: [1] }, 120);
    await client.call(method, method === 'stop' ? { category: 2 } : {});
    await lead(rig, { neck: [1] }, 800);
    const { pos } = rig.servo('neck').setpoint;
    await lead(rig, { neck: [0.2] }, 800);
    expect(rig.servo('neck').setpoint.pos).toBe(pos);
  });

  test('that are not armed any more slow down and hold', async () => {
    const { rig, client } = await Rig.live(prop());
    await client.call('trigger.arm', { armed: true });
    await lead(rig, { neck: [0.5] }, 80);
    await lead(rig, { neck: [1] }, 120);
    await client.call('trigger.arm', { armed: false });
    await lead(rig, { neck: [1] }, 600);
    expect(rig.servo('neck').moving).toBe(false);
    expect(rig.servo('neck').setpoint.pos).toBeLessThan(35);
  });
});
