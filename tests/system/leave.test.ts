import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, expect, it } from 'vitest';
import { Daemon, OWL, Peer } from './daemon.ts';

let daemon: Daemon;
afterEach(() => daemon.cleanUp());

it('SIGTERM while it holds after a lost link parks the prop, and then ends', async () => {
  daemon = await Daemon.start();
  const { folder } = daemon;
  await daemon.kill('SIGTERM');
  const owl = await readFile(OWL, 'utf8');
  const holding = owl.replace(
    /^link:.*$/m,
    'link: { timeoutMs: 5000, onLoss: hold-then-park, holdS: 300 }',
  );
  expect(holding).not.toBe(owl);
  await writeFile(join(folder, 'prop.yaml'), holding);
  daemon = await Daemon.start({ folder });
  const watch = await Peer.connect(daemon);
  await watch.ask('session.open', { client: 'watch' });
  const holder = await Peer.holder(daemon);
  await holder.ask('channel.move', { channel: 'beak', to: 20, wait: true });
  await watch.ask('state.follow', { hz: 50 });
  const parking = watch.untilState(({ condition }) => condition === 'parking');
  await holder.close();
  expect((await parking).channels.beak?.value ?? 20).toBe(20);
  const code = daemon.ended();
  daemon.child.kill('SIGTERM');
  expect(await code).toBe(0);
  const state = JSON.parse(await readFile(join(folder, 'state', 'state.json'), 'utf8'));
  expect(state).toMatchObject({ settled: true, clean: true });
  expect(state.positions.beak).toBe(0);
});
