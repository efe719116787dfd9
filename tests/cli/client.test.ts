import { createServer } from 'node:http';
import { type AddressInfo, createServer as createTcpServer } from 'node:net';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { RpcError } from '../../src/api/client.ts';
import { Client, LinkLost, Unreachable } from '../../src/cli/client.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { FakeDaemon, until } from './fake-daemon.ts';

let daemon: FakeDaemon;
beforeEach(async () => {
  daemon = await FakeDaemon.start();
});
afterEach(() => daemon.stop());

const connect = (clock = new VirtualClock(), token?: string) =>
  Client.connect({ url: `ws://${daemon.host}/api`, clientName: 'ann', clock, token });

describe('client', () => {
  test('opens the session first, with the token only where there is one', async () => {
    const plain = await connect();
    const secret = await connect(undefined, 'abc');
    expect(daemon.called('session.open')).toEqual([
      { client: 'ann' },
      { client: 'ann', token: 'abc' },
    ]);
    expect(plain.opened).toMatchObject({ prop: 'Test owl', condition: 'live' });
    await Promise.all([plain.close(), secret.close()]);
  });

  // JSON-RPC 2.0, section 5: an answer belongs to the request with the same id.
  test('pairs answers with calls by id, in whatever order they come', async () => {
    let answerFirst = (_result: object) => {};
    daemon.handlers['group.move'] = () =>
      new Promise((resolve) => {
        answerFirst = resolve;
      });
    const client = await connect();
    const first = client.call('group.move', { group: 'tail', to: 1 });
    expect(await client.call('pose.go', { pose: 'asleep' })).toEqual({ durationS: 0.5 });
    answerFirst({ durationS: 9 });
    expect(await first).toEqual({ durationS: 9 });
    await client.close();
  });

  test('a refusal carries code, message and data', async () => {
    const client = await connect();
    const error = await client.call('channel.move', { channel: 'beak', to: 90 }).catch((e) => e);
    expect(error).toBeInstanceOf(RpcError);
    expect(error).toMatchObject({
      code: -32002,
      title: 'Out of limits',
      message: 'beak cannot go to 90 deg',
      data: { code: 'limits.outside', reason: 'beak cannot go to 90 deg', value: 90, limit: 35 },
    });
    await client.close();
  });

  test('notifications are events', async () => {
    const client = await connect();
    const seen: unknown[] = [];
    client.on('state', (params) => seen.push(params));
    client.on('event', (entry) => seen.push(entry));
    daemon.notify('state', { t: 1 });
    daemon.notify('event', { entry: { seq: 1 } });
    await until(() => seen.length === 2);
    expect(seen).toEqual([{ t: 1 }, { seq: 1 }]);
    await client.close();
  });

  test('a cut link fails the calls under way and all later ones', async () => {
    daemon.handlers['pose.go'] = (_params, link) => {
      link.terminate();
      return new Promise(() => {});
    };
    const client = await connect();
    await expect(client.call('pose.go', { pose: 'asleep' })).rejects.toBeInstanceOf(LinkLost);
    await expect(client.call('park', {})).rejects.toBeInstanceOf(LinkLost);
    expect(client.lost).toBeInstanceOf(LinkLost);
  });

  test('silence for twice the link timeout is a lost link, and a ping is life', async () => {
    daemon.linkTimeoutMs = 500;
    daemon.pings = false;
    const clock = new VirtualClock();
    const client = await connect(clock);
    const heard: string[] = [];
    client.on('close', (reason) => heard.push(reason));
    const [link] = daemon.links;

    clock.advance(999);
    let pinged = false;
    // The client's pong tells that it has seen the ping.
    link!.once('pong', () => {
      pinged = true;
    });
    link!.ping();
    await until(() => pinged);
    clock.advance(999);
    expect(heard).toEqual([]);
    // Supervision looks four times per timeout, so it may be late by a quarter.
    clock.advance(1 + 125);
    expect(heard).toEqual(['the daemon was silent for 1000 ms']);
    await until(() => daemon.links.size === 0);
  });

  test('what is not JSON-RPC ends the link', async () => {
    const client = await connect();
    const [link] = daemon.links;
    const closed = new Promise((resolve) => client.once('close', resolve));
    link!.send('{"half":');
    expect(await closed).toMatch(/not JSON-RPC/);
  });
});

describe('a daemon that cannot be reached', () => {
  const clock = new VirtualClock();
  const options = { clientName: 'ann', clock };

  test('nobody listens', async () => {
    const { port } = await freePort();
    const error = await Client.connect({ ...options, url: `ws://127.0.0.1:${port}/api` }).catch(
      (e) => e,
    );
    expect(error).toBeInstanceOf(Unreachable);
    expect(error.message).toBe(
      `cannot reach the daemon at 127.0.0.1:${port}: connection refused; is sinewd running there?`,
    );
  });

  test.each([
    [401, RpcError],
    [403, RpcError],
    [404, Unreachable],
  ])('HTTP %i instead of a WebSocket', async (status, type) => {
    const server = createServer();
    server.on('upgrade', (_request, socket) =>
      socket.end(`HTTP/1.1 ${status} No\r\nConnection: close\r\nContent-Length: 0\r\n\r\n`),
    );
    await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
    const { port } = server.address() as AddressInfo;
    const error = await Client.connect({ ...options, url: `ws://127.0.0.1:${port}/api` }).catch(
      (e) => e,
    );
    expect(error).toBeInstanceOf(type);
    expect(error.data?.reason ?? error.message).toMatch(String(status));
    server.close();
  });

  test('connected, but session.open is never answered', async () => {
    daemon.handlers['session.open'] = () => new Promise(() => {});
    const opening = connect(clock).catch((e) => e);
    await until(() => daemon.calls.length === 1);
    clock.advance(3000);
    const error = await opening;
    expect(error).toBeInstanceOf(Unreachable);
    expect(error.message).toMatch(/did not answer within 3000 ms/);
  });
});

async function freePort(): Promise<AddressInfo> {
  const server = createTcpServer();
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  const address = server.address() as AddressInfo;
  await new Promise((resolve) => server.close(resolve));
  return address;
}
