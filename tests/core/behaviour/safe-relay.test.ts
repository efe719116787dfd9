import { expect, test } from 'vitest';
import { makeProp, Rig, relay, servo } from '../rig.ts';

/** A brake that must stay closed, and a fan that must not. */
const prop = () =>
  makeProp(
    {
      brake: relay({ safe: 'on', park: { to: 'on' }, output: { activeLow: true } }),
      fan: relay(),
      neck: servo(),
    },
    {
      cues: {
        c: [
          { at: 0, switch: { brake: 'on', fan: 'on' } },
          { at: 9, move: { neck: 1 } },
        ],
      },
    },
  );

async function live() {
  const { rig, client } = await Rig.live(prop());
  await client.call('channel.switch', { channel: 'fan', on: true });
  await rig.tick();
  // Active low: closed is 0.
  expect([rig.at('brake'), rig.at('fan')]).toEqual([0, 1]);
  return { rig, client };
}

test('a relay that is safe closed is closed from the start, and its board knows', async () => {
  const rig = await Rig.open(prop());
  const output = rig.board().outputs.find(({ name }) => name === 'brake');
  expect(output!.safe).toBe(0);
  await rig.run(100);
  expect(rig.on('brake')).toBe(true);
  expect(rig.writes.filter((write) => write.output === 'brake' && write.value === 1)).toEqual([]);
});

test.each([0, 1, 2] as const)('a stop of category %d leaves it closed', async (category) => {
  const { rig, client } = await live();
  await client.call('channel.move', { channel: 'neck', to: 30 });
  await rig.run(50);
  await client.call('stop', { category });
  rig.afterTick = () => expect(rig.at('brake')).toBe(0);
  await rig.run(1000);
  expect([rig.at('brake'), rig.at('fan')]).toEqual([0, 0]);
});

test('so do a park, a lost link, a board that fails and a cue that is stopped', async () => {
  for (const how of ['park', 'link', 'fault', 'cue'] as const) {
    const { rig, client } = await live();
    if (how === 'park') await client.call('park');
    else if (how === 'link') rig.commands.gone(client.session.id);
    else if (how === 'fault') rig.core.fail(new Error('a test'));
    else {
      await client.call('cue.run', { cue: 'c' });
      await rig.run(50);
      await client.call('cue.stop', { cue: 'c' });
    }
    await rig.run(1500);
    expect([how, rig.at('brake'), rig.at('fan')]).toEqual([how, 0, 0]);
  }
});

test('a stop does not close what somebody has opened', async () => {
  const { rig, client } = await live();
  await client.call('channel.switch', { channel: 'brake', on: false });
  await rig.tick();
  await client.call('stop', { category: 0 });
  await rig.run(100);
  expect(rig.at('brake')).toBe(1);
});
