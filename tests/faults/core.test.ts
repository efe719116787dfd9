import { expect, it } from 'vitest';
import { CODES } from '../../src/shared/errors.ts';
import { makeProp, Rig, relay, restedAt, servo } from '../core/rig.ts';
import { addRow } from './report.ts';

/** What only an injected clock can show in no time: faults of the core, tick by tick. */

const prop = makeProp({ arm: servo(), horn: relay() });

it('nothing is heard after a stall until the lease is lost', async () => {
  const { rig, client } = await Rig.live(prop);
  await client.call('channel.move', { channel: 'arm', to: 20, wait: false });
  await rig.run(200);
  rig.loop.stop();
  // As after SIGSTOP: time has passed, no tick has come yet, and what waited is carried out first.
  rig.clock.advance(800);
  const refusals = [
    await client.refused('channel.move', { channel: 'arm', to: -20 }),
    await client.refused('lease.take'),
  ];
  rig.core.tick(rig.clock.nowMs(), 160);
  rig.loop.start();
  await rig.until(() => rig.condition === 'parked');
  const lowest = Math.min(
    ...rig.writes.filter(({ output }) => output === 'arm').map((w) => w.value),
  );
  const holds =
    refusals.every(({ code }) => code === CODES.notAuthorised) &&
    lowest >= 1500 &&
    rig.lost.length === 1;
  addRow({
    fault: 'core stands still for 800 ms, a command waits for it',
    promise: 'refused, although no tick has come yet',
    worst: refusals[0]!.message,
    holds,
  });
  expect(refusals.map(({ code }) => code)).toEqual([CODES.notAuthorised, CODES.notAuthorised]);
  expect(lowest).toBeGreaterThanOrEqual(1500);
  expect(rig.lost).toEqual([client.session.id]);
});

it('no pulse comes before it is on the disk that things are not at rest', async () => {
  const rig = await Rig.open(prop, { restored: restedAt(prop) });
  const client = rig.client('desk');
  await client.call('lease.take');
  rig.store.noted = 'not yet';
  await client.call('wake');
  await rig.run(3000);
  const early = rig.writes.filter(({ value }) => value !== 0).length;
  expect(rig.condition).toBe('waking');
  rig.store.noted = 'yes';
  await rig.until(() => rig.condition === 'live', 5);
  const parked = await Rig.open(prop, { restored: restedAt(prop) });
  const other = parked.client('desk');
  await other.call('lease.take');
  parked.store.noted = new Error('EROFS');
  await other.call('wake');
  await parked.until(() => parked.condition === 'parked', 5);
  const unnoted = parked.writes.filter(({ value }) => value !== 0).length;
  addRow({
    fault: 'power cut before the wake is on the disk',
    promise: 'no pulse before it is; none at all where it cannot be',
    worst: `${early} and ${unnoted} pulses`,
    holds: early + unnoted === 0,
  });
  expect([early, unnoted]).toEqual([0, 0]);
  expect(parked.texts('state')[0]).toContain('EROFS');
});

it('a driver that never answers is given up', async () => {
  const { rig, client } = await Rig.live(prop);
  rig.board().failing.write = new Error('out');
  await client.call('channel.move', { channel: 'arm', to: 5 });
  await rig.run(3000);
  rig.board().failing = {};
  rig.board().opening = new Promise(() => {});
  const refused = client.refused('reset');
  await rig.run(5100);
  const { message } = await refused;
  expect(rig.condition).toBe('faulted');
  // It answers again: the next reset is not held up by the first.
  rig.board().opening = undefined;
  await expect(client.call('reset')).resolves.toMatchObject({ condition: 'parked' });
  rig.board().close = () => new Promise(() => {});
  let closed = false;
  rig.core.close().then(() => {
    closed = true;
  });
  await rig.run(2100);
  addRow({
    fault: 'driver that never answers, at a reset and at the end',
    promise: 'the reset is refused within 5 s, a later one works; the daemon ends within 2 s',
    worst: message,
    holds: /does not answer within 5 s/.test(message) && closed,
  });
  expect(message).toMatch(/board main still fails: .*does not answer within 5 s/);
  expect(closed).toBe(true);
});
