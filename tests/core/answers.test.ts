import { expect, test } from 'vitest';
import { type Client, makeProp, Rig, servo, TICK_MS } from './rig.ts';

async function live() {
  const { rig, client } = await Rig.live(makeProp({ flap: servo() }));
  const ask = (from: Client, method: 'channel.list' | 'board.list') =>
    rig.commands.answer(from.session.id, method, {});
  return { rig, client, ask };
}

test('an answer is the result as JSON', async () => {
  const { client, ask } = await live();
  expect(JSON.parse(await ask(client, 'channel.list'))).toEqual(await client.call('channel.list'));
  expect(JSON.parse(await ask(client, 'board.list'))).toEqual(await client.call('board.list'));
});

test('within one tick the channels are listed once, in the next one anew', async () => {
  const { rig, client, ask } = await live();
  const other = rig.client('other');
  await client.call('channel.move', { channel: 'flap', to: 20 });
  await rig.tick();
  const [first, second] = [await ask(client, 'channel.list'), await ask(other, 'channel.list')];
  expect(second).toBe(first);
  expect(await client.call('channel.list')).toBe(await other.call('channel.list'));
  await rig.run(3 * TICK_MS);
  const value = (text: string) => JSON.parse(text).channels.flap.value;
  expect(value(await ask(other, 'channel.list'))).toBeGreaterThan(value(first));
});

test('what a command has changed is listed at once, also before it is answered', async () => {
  const { rig, client } = await live();
  const other = rig.client('other');
  const target = async () => (await other.call('channel.list')).channels.flap!.target;
  expect(await target()).toBe(0);
  const arrived = client.call('channel.move', { channel: 'flap', to: 20, wait: true });
  expect(await target()).toBe(20);
  await rig.run(2000);
  await arrived;
});

test('what a command changes after it has waited is listed at once', async () => {
  const { rig, client } = await live();
  const other = rig.client('other');
  const flap = async () => (await other.call('channel.list')).channels.flap!;
  let written = () => {};
  rig.editor.writing = new Promise((resolve) => {
    written = resolve;
  });
  const capture = client.call('mark.capture', { channel: 'flap', mark: 'here' });
  expect((await flap()).marks).not.toHaveProperty('here');
  written();
  await capture;
  expect((await flap()).marks).toHaveProperty('here');
});
