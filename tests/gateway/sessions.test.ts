import { connect as connectTcp } from 'node:net';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { WebSocket } from 'ws';
import { Bucket } from '../../src/shared/bucket.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { type Client, done, expectError, Rig, until } from './helpers.ts';

let rig: Rig;
beforeEach(async () => {
  rig = await Rig.start();
});
afterEach(() => rig.end());

/** A client that stands still: it reads nothing and so answers no ping. */
function freeze(client: Client): void {
  client.socket.pause();
}

const request = (method: string, id: unknown, params: object = {}) =>
  JSON.stringify({ jsonrpc: '2.0', id, method, params });

describe('signs of life', () => {
  it('every frame counts: text, ping, pong, binary', async () => {
    const client = await rig.open();
    const life = () => rig.telemetry.life(0);
    const counts = async (send: () => void) => {
      const before = life();
      send();
      await until(() => life() === before + 1, 'one sign of life');
    };
    await counts(() => client.socket.ping());
    await counts(() => client.socket.pong());
    await counts(() => client.send('nonsense'));
    await counts(() => client.socket.send(Buffer.from([1]), { binary: true }));
    // The server's ping: the client answers by itself (RFC 6455, 5.5.2).
    await counts(() => rig.clock.advance(100));
  });

  it('four pings or more come within every link timeout, though timers are late', async () => {
    class LateClock extends VirtualClock {
      override after(delayMs: number, wake: () => void): () => void {
        return super.after(delayMs + 19, wake);
      }
    }
    await rig.end();
    rig = await Rig.start({}, new LateClock());
    const client = await rig.open();
    let pings = 0;
    client.socket.on('ping', () => pings++);
    for (let timeouts = 1; timeouts <= 4; timeouts++) {
      const before = pings;
      rig.clock.advance(500);
      await until(() => pings >= before + 4, 'four pings');
    }
  });

  it('each session marks its own slot', async () => {
    await rig.open('a');
    const b = await rig.open('b');
    const before = [rig.telemetry.life(0), rig.telemetry.life(1)];
    b.socket.ping();
    await until(() => rig.telemetry.life(1) === before[1]! + 1, 'a sign of life');
    expect(rig.telemetry.life(0)).toBe(before[0]);
  });

  it('the gateway beats every 50 ms', async () => {
    const before = rig.telemetry.gatewayBeat;
    rig.clock.advance(1000);
    expect(rig.telemetry.gatewayBeat).toBe(before + 20);
  });

  it('a silent session is dropped after 5 s, one that answers pings is not', async () => {
    const frozen = await rig.open('frozen');
    const alive = await rig.open('alive');
    freeze(frozen);
    for (let step = 0; step < 60; step++) {
      const before = rig.telemetry.life(1);
      rig.clock.advance(100);
      await until(() => rig.telemetry.life(1) > before, 'a pong');
      if (step === 47) expect(rig.of('gone')).toEqual([]);
    }
    expect(rig.of('gone')).toEqual([{ t: 'gone', session: frozen.session, why: 'silent' }]);
    expect(alive.closed).toBeNull();
  });

  it('a link timeout above 5 s is waited for', async () => {
    await rig.end();
    rig = await Rig.start({ view: { linkTimeoutMs: 20_000 } });
    const frozen = await rig.open('frozen');
    freeze(frozen);
    rig.clock.advance(19_900);
    await new Promise((resume) => setImmediate(resume));
    expect(rig.of('gone')).toEqual([]);
    rig.clock.advance(4000);
    await until(() => rig.of('gone').length === 1, 'gone');
  });
});

describe('the end of a session', () => {
  it.each<[string, (client: Client) => void, RegExp]>([
    ['a closing handshake', (client) => client.socket.close(1000), /closed by the client \(1000\)/],
    ['a broken connection', (client) => client.socket.terminate(), /connection broke/],
  ])('%s is told to the core', async (_name, end, why) => {
    const client = await rig.open();
    end(client);
    await until(() => rig.of('gone').length > 0, 'gone');
    expect(rig.of('gone')).toEqual([
      { t: 'gone', session: client.session, why: expect.stringMatching(why) },
    ]);
  });

  it('a breach of the WebSocket protocol ends that session (RFC 6455, 5.1: no mask)', async () => {
    const socket = connectTcp(rig.port, '127.0.0.1');
    socket.write(
      'GET /api HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n' +
        'Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n',
    );
    let text = '';
    socket.on('data', (data) => {
      text += data.toString('latin1');
    });
    await until(() => text.includes('\r\n\r\n'), 'the handshake');
    // The accept value of RFC 6455, section 1.3, for the key given there.
    expect(text).toContain('s3pPLMBiTxaQ9kYGzzhZRbK+xOo=');
    text = '';
    socket.write(Buffer.from([0x81, 0x02, 0x68, 0x69]));
    await until(() => text.length >= 4, 'a close frame');
    // Close frame, status 1002, protocol error (RFC 6455, 5.5.1 and 7.4.1).
    expect(Buffer.from(text, 'latin1').subarray(0, 1)[0]).toBe(0x88);
    expect(Buffer.from(text, 'latin1').readUInt16BE(2)).toBe(1002);
    socket.destroy();
  });

  it('`lost` drops the connection at once, without a handshake', async () => {
    const client = await rig.open();
    const other = await rig.open('other');
    rig.send({ t: 'lost', session: client.session });
    // 1006: closed without a close frame (RFC 6455, 7.1.5).
    expect((await client.end()).code).toBe(1006);
    expect((await other.call('park')).result).toBeDefined();
  });

  it('frames that a lost session has sent are not carried out', async () => {
    const client = await rig.open();
    rig.reply = ({ id, method }) => {
      if (method === 'wake') rig.send({ t: 'lost', session: client.session });
      return done(id, {});
    };
    client.send(request('wake', 1));
    await client.end();
    client.send(request('channel.move', 2, { channel: 'beak', to: 5 }));
    await until(() => rig.of('gone').length === 1, 'gone');
    expect(rig.calls().map((call) => call.method)).toEqual(['wake']);
  });

  it('`lost` of a session that nobody knows does no harm', async () => {
    rig.send({ t: 'lost', session: 'nobody' });
    expect((await rig.open()).session).not.toBe('');
  });

  it('an answer for a session that is gone is dropped', async () => {
    rig.reply = () => undefined;
    const client = await rig.open();
    client.send(request('wake', 1));
    await until(() => rig.calls().length === 1, 'the call');
    client.socket.terminate();
    await until(() => rig.of('gone').length === 1, 'gone');
    rig.send(done(rig.calls()[0]!.id, {}));
    const other = await rig.open('other');
    expect(other.messages.length).toBe(1);
  });

  it('`close` ends every session with 1001 and stops listening', async () => {
    const client = await rig.open();
    rig.send({ t: 'close' });
    expect((await client.end()).code).toBe(1001);
    await rig.gateway.closed;
    await expect(rig.connect()).rejects.toThrow(/ECONNREFUSED/);
  });
});

describe('too much', () => {
  it('the 33rd session may only stop and park, and a freed slot is given again', async () => {
    const clients: Client[] = [];
    for (let n = 0; n < 32; n++) clients.push(await rig.open(`c${n}`));
    const one = await rig.open('one more');
    expectError(await one.call('lease.take'), -32009, /32 places are taken/);
    expect((await clients[0]!.call('park')).result).toBeDefined();
    clients[7]!.socket.terminate();
    await until(() => rig.of('gone').length === 1, 'gone');
    const next = await rig.open('next');
    expect(rig.of('open').at(-1)).toMatchObject({ session: next.session, slot: 7 });
  });

  it('2,000 requests at once are taken; then each is refused with a hint; then it closes', async () => {
    const flood = await rig.open('flood');
    const other = await rig.open('other');
    // One token went into session.open.
    for (let n = 0; n < 2100; n++) flood.send(request('state.unfollow', n));
    await flood.answer(2099);
    const refused = flood.messages.filter((message) => message.error);
    expect(refused.length).toBe(101);
    expectError(refused[0], -32009, /too many requests .* again in 1 ms/);
    expect(refused[0].error.data.retryMs).toBe(1);

    for (let n = 2100; n < 4100; n++) flood.send(request('state.unfollow', n));
    expect((await flood.end()).code).toBe(1008);
    await until(() => rig.of('gone').length === 1, 'gone');
    expect(rig.of('gone')[0]).toMatchObject({ session: flood.session, why: 'flood of requests' });
    expect((await other.call('park')).result).toBeDefined();
  });

  it('after a pause the session is served again', async () => {
    const client = await rig.open();
    for (let n = 0; n < 2000; n++) client.send(request('state.unfollow', n));
    expectError(await client.answer(1999), -32009, /too many/);
    rig.clock.advance(1000);
    for (let n = 2000; n < 3000; n++) client.send(request('state.unfollow', n));
    await client.answer(2999);
    expect(client.messages.filter((message) => message.error).length).toBe(1);
  });

  it('a batch counts as many requests as it holds', async () => {
    const client = await rig.open();
    const batch = (n: number) =>
      `[${Array.from({ length: 100 }, (_, i) => request('state.unfollow', `${n}.${i}`)).join(',')}]`;
    for (let n = 0; n < 19; n++) await client.ask(batch(n));
    // 99 tokens are left: session.open took one.
    expectError(await client.ask(batch(20)), -32009, /too many/);
    expect(rig.calls()).toEqual([]);
  });

  it('a slow reader is cut off alone', async () => {
    const slow = await rig.open('slow');
    const other = await rig.open('other');
    const big = 'x'.repeat(256 * 1024);
    rig.reply = ({ id, method }) => done(id, method === 'reset' ? big : 'small');
    freeze(slow);
    // The kernel's buffers take some MiB before anything waits in the gateway.
    for (let n = 0; n < 90; n++) slow.send(request('reset', n));
    await until(() => rig.of('gone').length === 1, 'gone');
    expect(rig.of('gone')[0]).toMatchObject({
      session: slow.session,
      why: expect.stringContaining('slow reader'),
    });
    expect((await other.call('park')).result).toBe('small');
  });

  it('compression is not agreed to: it would let a small frame unpack to a large one', async () => {
    const client = await rig.connect({ perMessageDeflate: true });
    expect(client.socket.extensions).toBe('');
    expect(client.socket.readyState).toBe(WebSocket.OPEN);
  });
});

it('the token bucket earns its rate and no more than its burst', () => {
  const bucket = new Bucket(1000, 2000, 0);
  expect(bucket.take(2000, 0)).toBe(true);
  expect(bucket.take(1, 0)).toBe(false);
  expect(bucket.waitMs(1)).toBe(1);
  expect(bucket.waitMs(500)).toBe(500);
  expect(bucket.take(500, 499)).toBe(false);
  expect(bucket.take(500, 500)).toBe(true);
  expect(bucket.take(2000, 1_000_000)).toBe(true);
  expect(bucket.take(1, 1_000_000)).toBe(false);
});
