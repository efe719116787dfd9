import { spawn } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import { CLI, Daemon, Peer } from './daemon.ts';

const TIMEOUT_MS = 500;
const PROMISE_MS = TIMEOUT_MS + 100;

let daemon: Daemon;
beforeEach(async () => {
  daemon = await Daemon.start();
});
afterEach(async () => {
  await daemon.cleanUp();
});

interface Entry {
  time: string;
  what: string;
  text: string;
}

async function journal(peer: Peer): Promise<Entry[]> {
  const { entries } = await peer.ask('journal.read', { limit: 1000 });
  return entries as Entry[];
}

async function observer(): Promise<Peer> {
  const peer = await Peer.connect(daemon);
  await peer.ask('session.open', { client: 'observer' });
  await peer.ask('state.follow', { hz: 50 });
  return peer;
}

/** When the daemon says that parking began (ms since the epoch). */
async function parkingBegan(peer: Peer): Promise<number> {
  const entry = (await journal(peer)).find(
    (one) => one.what === 'condition' && one.text.startsWith('parking'),
  );
  return Date.parse(entry!.time);
}

describe('the link of the holder', () => {
  it('parks the prop when the client is killed in the middle of a group move', async () => {
    const watch = await observer();
    const client = spawn(process.execPath, [
      CLI,
      '--host',
      `127.0.0.1:${daemon.port}`,
      '--wake',
      'session',
    ]);
    client.stdin.write('move tail open --over 5\n');
    await watch.untilState(
      (frame) =>
        (frame.channels.tail_1?.flags as string[] | undefined)?.includes('moving') === true,
    );
    client.kill('SIGKILL');
    const killedMs = Date.now();
    await watch.untilState((frame) => frame.condition === 'parking');
    expect((await parkingBegan(watch)) - killedMs).toBeLessThanOrEqual(PROMISE_MS);
    const parked = await watch.untilState((frame) => frame.condition === 'parked');
    expect(parked.holder).toBeNull();
    const { channels } = (await watch.ask('channel.list')) as {
      channels: Record<string, { value: number; target: number }>;
    };
    expect(channels.tail_1!.value).toBe(channels.tail_1!.target);
  });

  it('parks the prop when a client falls silent with its socket open', async () => {
    const watch = await observer();
    const holder = await Peer.holder(daemon, { autoPong: false, live: false });
    // Its own requests, and pongs that say what it has received, are its only signs of life.
    const pong = (payload: Buffer) => holder.socket.pong(payload);
    holder.socket.on('ping', pong);
    const keep = setInterval(() => holder.send('{"jsonrpc":"2.0","method":"channel.list"}'), 100);
    await holder.ask('wake', { wait: true, confirm: 'unknown' });
    await holder.ask('channel.move', { channel: 'wing_left', to: 'spread', wait: true });
    clearInterval(keep);
    holder.socket.off('ping', pong);
    holder.send('{"jsonrpc":"2.0","id":78,"method":"channel.list"}');
    const lastMs = Date.now();
    await watch.untilState((frame) => frame.condition === 'parking');
    const took = (await parkingBegan(watch)) - lastMs;
    expect(took).toBeLessThanOrEqual(PROMISE_MS);
    // Its last pong may be as old as the pause between two pings.
    expect(took).toBeGreaterThan(TIMEOUT_MS - TIMEOUT_MS / 4 - 50);
    await holder.until(() => holder.closeCode);
  });

  it('keeps the lease of a client that answers pings and sends nothing else', async () => {
    const watch = await observer();
    await Peer.holder(daemon);
    const { t } = await watch.untilState((frame) => frame.condition === 'live');
    // Six time-outs long, by the daemon's own clock, no frame but pongs.
    const later = await watch.untilState((frame) => frame.t > t + (6 * TIMEOUT_MS) / 1000);
    expect(later.condition).toBe('live');
    expect(later.holder).toBe('holder');
  });

  it('pings at least four times per timeout', async () => {
    const socket = new WebSocket(`ws://127.0.0.1:${daemon.port}/api`);
    let pings = 0;
    socket.on('ping', () => pings++);
    const watch = await observer();
    const { t } = await watch.untilState(() => true);
    socket.send('{"jsonrpc":"2.0","id":1,"method":"session.open","params":{"client":"counter"}}');
    pings = 0;
    await watch.untilState((frame) => frame.t > t + (4 * TIMEOUT_MS) / 1000);
    // 16 would be four a timeout; a busy machine may delay the count by one.
    expect(pings).toBeGreaterThanOrEqual(15);
    socket.terminate();
  });

  it('lets a new holder take over once parking has begun, who must wake the prop again', async () => {
    const first = await Peer.holder(daemon);
    const second = await Peer.connect(daemon);
    await second.ask('session.open', { client: 'second' });
    const refused = await second.call('lease.take');
    expect(refused.error).toMatchObject({ code: -32001, data: { holder: 'holder' } });
    await second.ask('state.follow', { hz: 50 });
    // Away from its park position, so that parking takes its time.
    await first.ask('channel.move', { channel: 'wing_left', to: 'spread', wait: true });
    await first.close();
    await second.untilState((frame) => frame.condition === 'parking');
    await second.ask('lease.take');
    const early = await second.call('channel.move', { channel: 'beak', to: 'open' });
    expect(early.error).toMatchObject({ code: -32003, data: { condition: 'parking' } });
    await second.untilState((frame) => frame.condition === 'parked');
    const still = await second.call('channel.move', { channel: 'beak', to: 'open' });
    expect(still.error).toMatchObject({ code: -32003, data: { condition: 'parked' } });
    await second.ask('wake', { wait: true });
    await second.ask('channel.move', { channel: 'beak', to: 'open', wait: true });
  });

  it('keeps the prop live through a release with grace, and parks it after one without', async () => {
    const first = await Peer.holder(daemon);
    await first.ask('lease.release', { graceS: 30 });
    await first.close();
    const second = await Peer.connect(daemon);
    await second.ask('session.open', { client: 'second' });
    await second.ask('lease.take');
    await second.ask('channel.move', { channel: 'beak', to: 10, wait: true });
    await second.ask('state.follow', { hz: 50 });
    await second.ask('lease.release');
    await second.untilState((frame) => frame.condition === 'parked');
  });
});

describe('the death of the gateway', () => {
  it('parks the prop, and the gateway returns at the same address', async () => {
    await daemon.cleanUp();
    const preload = fileURLToPath(new URL('./kill-gateway.mjs', import.meta.url));
    daemon = await Daemon.start({ nodeArgs: ['--import', preload] });
    const holder = await Peer.holder(daemon);
    await holder.ask('channel.move', { channel: 'wing_left', to: 'spread' });
    daemon.child.kill('SIGUSR2');
    const killedMs = Date.now();
    await holder.until(() => holder.closeCode);
    let back: Peer | undefined;
    while (!back) back = await Peer.connect(daemon).catch(() => undefined);
    await back.ask('session.open', { client: 'back' });
    expect((await parkingBegan(back)) - killedMs).toBeLessThanOrEqual(PROMISE_MS);
    await back.ask('park', { wait: true });
    const { channels } = (await back.ask('channel.list')) as {
      channels: Record<string, { value: number; marks: Record<string, number> }>;
    };
    expect(channels.wing_left!.value).toBe(channels.wing_left!.marks.folded);
    await back.ask('lease.take');
    await back.ask('wake', { wait: true });
  });
});
