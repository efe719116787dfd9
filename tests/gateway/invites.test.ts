import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Invites } from '../../src/gateway/invites.ts';
import { pageAddresses } from '../../src/gateway/origin.ts';
import { hashToken } from '../../src/gateway/token.ts';
import { expectError, Rig, VIEW } from './helpers.ts';

describe('a code', () => {
  let nowMs = 0;
  const fresh = () => {
    nowMs = 0;
    return new Invites(() => nowMs);
  };
  const VOID = expect.objectContaining({ word: 'invite.void' });

  it('holds 128 bits or more, and another one each time', () => {
    const invites = fresh();
    const codes = Array.from({ length: 50 }, () => invites.make(300));
    expect(new Set(codes).size).toBe(50);
    // Base64url: 6 bits a digit (RFC 4648, section 5).
    for (const code of codes) expect(code).toMatch(/^[\w-]{22,}$/);
  });

  it('works once, and gives a token that is known from then on', () => {
    const invites = fresh();
    const code = invites.make(300);
    expect(invites.knows(code)).toBe(false);
    const token = invites.use(code);
    expect(token).not.toBe(code);
    expect(invites.knows(token)).toBe(true);
    expect(() => invites.use(code)).toThrow(VOID);
    expect(() => invites.use(token)).toThrow(VOID);
  });

  it('works until its time is over, and not at that moment', () => {
    const invites = fresh();
    const [early, late] = [invites.make(300), invites.make(300)];
    nowMs = 299_999;
    invites.use(early);
    nowMs = 300_000;
    expect(() => invites.use(late)).toThrow(VOID);
    // Nor once the clock is looked at again.
    nowMs = 0;
    expect(() => invites.use(late)).toThrow(VOID);
  });

  it('gives way to later ones, as the token of a device does', () => {
    const invites = fresh();
    const first = invites.make(300);
    for (let i = 0; i < 8; i++) invites.make(300);
    expect(() => invites.use(first)).toThrow(VOID);
    const token = invites.use(invites.make(300));
    for (let i = 0; i < 64; i++) {
      expect(invites.knows(token)).toBe(true);
      invites.use(invites.make(300));
    }
    expect(invites.knows(token)).toBe(false);
  });
});

describe('through the API', () => {
  const token = '6f0c1d9b27a84e53b1d2c7f09e8a4d36';
  let rig: Rig;
  beforeEach(async () => {
    rig = await Rig.start({ tokenHash: hashToken(token) });
  });
  afterEach(() => rig.end());

  const open = async (params: object) => {
    const client = await rig.connect();
    return { client, ...(await client.call('session.open', { client: 'phone', ...params })) };
  };
  const codeOf = (link: string) => link.split('#invite=')[1]!;
  const invite = async () => {
    const { client } = await open({ token });
    const { result } = await client.call('token.invite', { forS: 60 });
    return result as { links: string[]; expiresInS: number };
  };

  it('a link lets one device in, which comes back with the token that it got', async () => {
    const { links, expiresInS } = await invite();
    expect(expiresInS).toBe(60);
    expect(links).toEqual([
      expect.stringMatching(`^http://127\\.0\\.0\\.1:${rig.port}/#invite=[\\w-]+$`),
    ]);
    const first = await open({ invite: codeOf(links[0]!) });
    const own = (first.result as { token: string }).token;
    expect(own).toMatch(/^[\w-]{22,}$/);
    const again = await open({ token: own });
    expect(again.result).toMatchObject({ prop: VIEW.name });
    expect(again.result).not.toHaveProperty('token');
  });

  it('a second device with the same link is refused late, and closed', async () => {
    const code = codeOf((await invite()).links[0]!);
    await open({ invite: code });
    const second = await rig.connect();
    const answer = second.call('session.open', { client: 'second', invite: code });
    const other = await open({ token });
    rig.clock.advance(199);
    await other.client.call('state.unfollow');
    expect(second.messages).toEqual([]);
    rig.clock.advance(1);
    expectError(await answer, -32006, /used already|too old/);
    expect((await second.end()).code).toBe(1008);
  });

  it('a device that was let in lets no other in', async () => {
    const { client } = await open({ invite: codeOf((await invite()).links[0]!) });
    expectError(await client.call('token.invite', {}), -32006, /whoever has the token/);
  });

  it('the right token leaves the code for another device', async () => {
    const code = codeOf((await invite()).links[0]!);
    await open({ token, invite: code });
    expect((await open({ invite: code })).result).toHaveProperty('token');
  });

  it('a daemon without a token has none to make links with', async () => {
    const bare = await Rig.start();
    const client = await bare.connect();
    await client.call('session.open', { client: 'laptop' });
    expectError(await client.call('token.invite', {}), -32003, /--listen and --token-file/);
    await bare.end();
  });
});

it('the page is reached at the addresses that other devices have a way to', () => {
  const of = (address: string, family: 'IPv4' | 'IPv6', internal = false) =>
    ({ address, family, internal }) as never;
  const interfaces = {
    lo: [of('127.0.0.1', 'IPv4', true), of('::1', 'IPv6', true)],
    eth0: [of('fe80::1', 'IPv6'), of('2001:db8::7', 'IPv6'), of('192.0.2.7', 'IPv4')],
  };
  expect(pageAddresses('0.0.0.0', 7420, interfaces)).toEqual([
    'http://192.0.2.7:7420/',
    'http://[2001:db8::7]:7420/',
  ]);
  expect(pageAddresses('192.0.2.7', 80, interfaces)).toEqual(['http://192.0.2.7:80/']);
  expect(pageAddresses('[2001:db8::7]', 80, interfaces)).toEqual(['http://[2001:db8::7]:80/']);
});
