import { connect } from 'node:net';
import { afterEach, describe, expect, it } from 'vitest';
import { addressOf } from '../../../src/gateway/http/doors.ts';
import { hashToken } from '../../../src/gateway/token.ts';
import { Attack } from '../../attack.ts';
import { type Client, done, expectError, Rig, until } from '../helpers.ts';

const TOKEN = 'f00dfeedf00dfeedf00dfeedf00dfeedf00dfeedf00dfeedf00dfeedf00dfeed';

let rig: Rig;
const attacks: Attack[] = [];
afterEach(async () => {
  for (const attack of attacks.splice(0)) attack.end();
  await rig.end();
});

const open = async (name: string): Promise<Client> => {
  const client = await rig.connect();
  const { result } = await client.call('session.open', { client: name, token: TOKEN });
  client.session = result.session;
  return client;
};

describe('whoever has no token', () => {
  // The first fits beside a client of the same address; the second is more than one address may hold, so
  // that each new connection ends an old one. The attackers run on the thread they attack: they pause.
  it.each([
    [40, 100, 92, 0],
    [150, 150, 30, 20],
  ])(
    'keeps no stop out: %i sockets in a loop, %i half-sent requests, %i stops, all get through',
    async (sockets, halfSent, stops, pauseMs) => {
      rig = await Rig.start({ tokenHash: hashToken(TOKEN) });
      attacks.push(
        new Attack(rig.port, sockets, 'handshake', pauseMs),
        new Attack(rig.port, halfSent, 'half-sent', pauseMs),
        new Attack(rig.port, 20, 'silent', pauseMs),
      );
      await until(() => attacks.every((attack) => attack.opened >= 20), 'the attack');
      rig.reply = ({ id }) => done(id, { condition: 'stopped' });
      let through = 0;
      for (let n = 0; n < stops; n++) {
        const client = await open(`s${n}`);
        const { result } = await client.call('stop', { category: 1 });
        if (result?.condition === 'stopped') through++;
        client.socket.terminate();
      }
      expect(through).toBe(stops);
      expect(rig.calls().filter(({ method }) => method === 'stop')).toHaveLength(stops);
    },
  );

  it('does not hold one address too many: the oldest without a session gives way', async () => {
    rig = await Rig.start({ tokenHash: hashToken(TOKEN) });
    const holder = await open('holder');
    const first = await rig.connect();
    for (let n = 0; n < 192; n++) await rig.connect();
    await first.end();
    expect((await holder.call('park')).result).toBeDefined();
    expect(holder.closed).toBeNull();
  });

  it('does not hold a half-sent request for 5 s', async () => {
    rig = await Rig.start({ tokenHash: hashToken(TOKEN) });
    const socket = connect(rig.port, '127.0.0.1');
    const closed = new Promise((resolve) => socket.once('close', resolve));
    socket.on('error', () => {});
    socket.on('data', () => {});
    socket.write('GET / HTTP/1.1\r\nHost: 127');
    const startedMs = performance.now();
    await closed;
    // The server looks twice a second; a busy machine looks later.
    expect(performance.now() - startedMs).toBeLessThan(5500);
  });
});

it('an address is one of IPv4, a /64 of IPv6, or this machine', () => {
  const of = (remoteAddress: string) => addressOf({ remoteAddress });
  expect(of('127.0.0.1')).toBe(of('::1'));
  expect(of('::ffff:127.0.0.1')).toBe(of('::1'));
  expect(of('::ffff:192.0.2.7')).toBe('192.0.2.7');
  // 2001:db8::/32 is for documentation (RFC 3849).
  expect(of('2001:db8:0:1::7')).toBe(of('2001:db8:0:1:a:b:c:d'));
  expect(of('2001:db8:0:1::7')).not.toBe(of('2001:db8:0:2::7'));
  expect(of('2001:db8::7')).toBe(of('2001:db8::8:9'));
});

describe('with every place taken', () => {
  const full = async (): Promise<Client[]> => {
    rig = await Rig.start({ tokenHash: hashToken(TOKEN) });
    const clients: Client[] = [];
    for (let n = 0; n < 32; n++) clients.push(await open(`c${n}`));
    return clients;
  };

  it('a session is told that it may only stop and park, and can do that alone', async () => {
    await full();
    const client = await rig.connect();
    const { result } = await client.call('session.open', { client: 'late', token: TOKEN });
    expect(result.only).toEqual(['stop', 'park']);
    expectError(await client.call('lease.take'), -32009, /places .* taken.*stop and park/);
    expectError(await client.call('state.follow', { hz: 10 }), -32009, /stop and park/);
    expect((await client.call('stop', { category: 1 })).result).toBeDefined();
    expect((await client.call('park')).result).toBeDefined();
    expect(rig.of('open').at(-1)).toMatchObject({ slot: -1 });
  });

  it('of the reserved places the one that was given first is given again', async () => {
    await full();
    const a = await open('a');
    const b = await open('b');
    const early = await rig.connect();
    expectError(
      await early.call('session.open', { client: 'early', token: TOKEN }),
      -32009,
      /try again/,
    );
    rig.clock.advance(1000);
    const c = await open('c');
    expect((await a.end()).code).toBe(1013);
    expect(b.closed).toBeNull();
    expect((await c.call('stop', { category: 1 })).result).toBeDefined();
  });

  it('a connection without the token takes no place', async () => {
    rig = await Rig.start({ tokenHash: hashToken(TOKEN) });
    for (let n = 0; n < 40; n++) await rig.connect();
    const client = await open('bench');
    expect((await client.call('lease.take')).error).toBeUndefined();
    expect(rig.of('open').at(-1)).toMatchObject({ slot: 0 });
  });
});
