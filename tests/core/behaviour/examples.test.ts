import { describe, expect, test } from 'vitest';
import { loadProp } from '../../../src/prop/load.ts';
import type { Prop } from '../../../src/prop/schema.ts';
import { rehearse } from '../../../src/rehearsal/rehearse.ts';
import { Refusal } from '../../../src/shared/errors.ts';
import { Rig, restedAt } from '../rig.ts';

const FILES = ['owl.yaml', 'apple-hand.yaml', 'dusk-street.yaml', 'lidded-chest.yaml'];
const props = await Promise.all(
  FILES.map(async (file): Promise<[string, Prop]> => {
    const path = new URL(`../../../config/${file}`, import.meta.url).pathname;
    return [file, (await loadProp(path)).prop!];
  }),
);

/** Goes on until it is stopped; a rehearsal follows it for so long. */
const ENDLESS: readonly string[] = ['town_at_night'];

const cues = props.flatMap(([file, prop]) =>
  Object.keys(prop.cues).map((cue) => ({ file, cue, prop })),
);
test.each(cues)('$file: cue $cue runs as it is written', async ({ prop, cue }) => {
  const { events, rails, tracks, cutShort, durationS } = await rehearse(prop, cue);
  // Nothing refused, delayed, slowed, held by an interlock or opened by a duty guard.
  // That servos start one after another, for their rail, is as it should be.
  expect(events.filter(({ what }) => what !== 'staggered')).toEqual([]);
  expect(cutShort).toBe(ENDLESS.includes(cue));
  expect(durationS).toBeGreaterThan(0.3);
  for (const { peakA, limitA } of rails) expect(peakA).toBeLessThanOrEqual(limitA);
  for (const { flashes = 0, redFlashes = 0 } of tracks)
    expect(Math.max(flashes, redFlashes)).toBeLessThanOrEqual(3);
  expect(tracks.some(({ tS }) => tS.length > 1)).toBe(true);
});

describe.each(props)('%s', (_, prop) => {
  const deadlineS = prop.park.deadlineS;

  /** The same prop, whose boards record instead of simulating; no button is pressed. */
  const live = (over: Record<string, number> = {}) =>
    Rig.live({ ...prop, stopInput: undefined }, { restored: restedAt(prop, over) });

  const settled = ({ core }: Rig) =>
    core.body.servos.every((servo) => !servo.moving && !servo.delayed);

  test('wakes and parks within the deadline from the far end of every servo', async () => {
    const { rig, client } = await live();
    for (const end of [0, 1] as const) {
      // An elbow must bend before the turn may move: whatever is refused at first is asked for again.
      for (const _round of [1, 2])
        for (const { name, limitsDeg } of rig.core.body.servos)
          try {
            await client.call('channel.move', { channel: name, to: limitsDeg[end] });
          } catch (error) {
            if (!(error instanceof Refusal) || error.kind !== 'interlock') throw error;
          }
      await rig.run(5000);
      expect(settled(rig)).toBe(true);
      await client.call('park');
      const startMs = rig.clock.nowMs();
      await rig.until(() => rig.condition === 'parked', deadlineS);
      expect(rig.clock.nowMs() - startMs).toBeLessThanOrEqual(deadlineS * 1000);
      await client.call('wake');
      await rig.until(() => rig.condition === 'live', deadlineS);
    }
    expect(rig.texts('stop')).toEqual([]);
  });

  test.each(Object.keys(prop.cues))('parks in time whenever cue %s is cut off', async (cue) => {
    const { rig, client } = await live();
    for (const cutMs of [400, 2500, 7000]) {
      await client.call('cue.run', { cue });
      await rig.run(cutMs);
      await client.call('park');
      await rig.until(() => rig.condition === 'parked', deadlineS);
      await client.call('wake');
      await rig.until(() => rig.condition === 'live', deadlineS);
    }
    expect(rig.texts('stop')).toEqual([]);
    expect(rig.texts('fault')).toEqual([]);
  });

  test('every idle behaviour plays for ten minutes without a refusal', async () => {
    const { rig, client } = await live();
    for (const idle of Object.keys(prop.idle)) {
      await client.call('idle.start', { idle });
      await rig.run(600_000);
      await client.call('idle.stop');
      for (const { cue } of prop.idle[idle]!.plays)
        expect(rig.texts('cue')).toContain(`cue ${cue} is over`);
    }
    expect(Object.keys(prop.idle)).not.toEqual([]);
    for (const what of ['refused', 'delayed', 'slower', 'interlock'])
      expect(rig.texts(what)).toEqual([]);
  });
});

describe('the arm', () => {
  const prop = { ...props[1]![1], stopInput: undefined };
  const folding = ['grip', 'wrist', 'elbow', 'shoulder', 'turn'];

  test('folds up before it turns when nobody knows how it stands', async () => {
    const rig = await Rig.open(prop);
    await rig.wake(rig.client('desk'));
    expect(rig.texts('position unknown').map((text) => text.split(' ')[0])).toEqual(folding);
  });

  test('parks from the fingers to the post', async () => {
    const { rig, client } = await Rig.live(prop, { restored: restedAt(prop) });
    await client.call('cue.run', { cue: 'offer' });
    await rig.until(
      () => rig.servo('turn').setpoint.pos > 35 && rig.servo('elbow').setpoint.pos < 60,
    );
    await client.call('park');
    const order: string[] = [];
    rig.afterTick = () => {
      for (const name of folding)
        if (rig.servo(name).moving && !rig.servo(name).atPark && !order.includes(name))
          if (rig.servo(name).targetDeg === rig.servo(name).parkDeg) order.push(name);
    };
    await rig.until(() => rig.condition === 'parked');
    expect(order).toEqual(folding);
  });

  test('neither turns nor lets dew fall while it is stretched out', async () => {
    const { rig, client } = await Rig.live(prop, { restored: restedAt(prop) });
    await client.call('channel.move', { channel: 'elbow', to: 'reached', wait: false });
    await rig.run(4000);
    const turn = await client.refused('channel.move', { channel: 'turn', to: 20 });
    const dew = await client.refused('channel.switch', { channel: 'dew', on: true });
    expect([turn.kind, dew.kind]).toEqual(['interlock', 'interlock']);
  });
});

test('the chimney does not smoke without its fan, and the fan does not stop while it smokes', async () => {
  const { rig, client } = await Rig.live(props[2]![1]);
  const alone = await client.refused('channel.switch', { channel: 'smoke', on: true });
  expect(alone.kind).toBe('interlock');
  await client.call('cue.run', { cue: 'hearth' });
  await rig.until(() => rig.on('smoke'));
  const fan = await client.refused('channel.switch', { channel: 'draught', on: false });
  expect([fan.kind, rig.on('smoke')]).toEqual(['interlock', true]);
  await client.call('channel.switch', { channel: 'smoke', on: false });
  await client.call('channel.switch', { channel: 'draught', on: false });
  expect([rig.on('smoke'), rig.on('draught')]).toEqual([false, false]);
});
