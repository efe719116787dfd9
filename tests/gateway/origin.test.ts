import { describe, expect, it } from 'vitest';
import { ownNames, refuseRequest } from '../../src/gateway/origin.ts';
import { isLoopback } from '../../src/shared/loopback.ts';

describe('loopback addresses (RFC 1122 3.2.1.3, RFC 4291 2.5.3)', () => {
  it.each([
    ...['127.0.0.1', '127.255.3.4', '::1', '[::1]', 'localhost', 'LOCALHOST'],
    ...['0:0:0:0:0:0:0:1', '::ffff:127.0.0.1'],
  ])('%s', (host) => {
    expect(isLoopback(host)).toBe(true);
  });
  it.each([
    '0.0.0.0',
    '::',
    '192.168.1.20',
    '128.0.0.1',
    '::ffff:10.0.0.1',
    '2001:db8::1',
    'foyer.local',
    'localhost.example.org',
    '127.0.0.1.example.org',
    '',
  ])('not %s', (host) => {
    expect(isLoopback(host)).toBe(false);
  });
});

describe('Host and Origin', () => {
  const names = ownNames('10.0.0.5', 'Foyer');
  const refused = (host: string | undefined, origin?: string) =>
    refuseRequest({ host, origin }, names)?.status ?? null;

  it.each([
    '127.0.0.1:7420',
    '[::1]:7420',
    'localhost:7420',
    'LocalHost',
    'foyer:7420',
    'foyer.local',
    '10.0.0.5:7420',
    '192.168.7.9:8080',
  ])('host %s is served', (host) => expect(refused(host)).toBeNull());

  // DNS rebinding: the browser believes that attacker.example is this machine.
  it.each([
    'attacker.example:7420',
    'foyer.local.attacker.example',
    '2130706433',
    '0x7f.1',
    '127.0.0.1:7420@attacker.example',
    '',
    undefined,
  ])('host %s is misdirected (421)', (host) => expect(refused(host)).toBe(421));

  it('the page of this daemon is served', () => {
    expect(refused('127.0.0.1:7420', 'http://127.0.0.1:7420')).toBeNull();
    expect(refused('[::1]:7420', 'http://[::1]:7420')).toBeNull();
    expect(refused('foyer.local', 'https://foyer.local')).toBeNull();
  });

  it.each([
    'http://attacker.example',
    'http://127.0.0.1:8080',
    'http://localhost:7420',
    'http://127.0.0.1:7420.attacker.example',
    'null',
    'file://',
    'extension://127.0.0.1:7420',
    '',
  ])('a page of %s is forbidden (403)', (origin) => {
    expect(refused('127.0.0.1:7420', origin)).toBe(403);
  });

  it('two hosts are one too many (RFC 9112, 3.2)', () => {
    const own = { host: '127.0.0.1' };
    const raw = ['Host', '127.0.0.1', 'Accept', '*/*'];
    expect(refuseRequest(own, names, raw)).toBeNull();
    expect(refuseRequest(own, names, [...raw, 'hOST', 'a.example'])?.status).toBe(400);
  });

  it('says what would be right', () => {
    const misdirected = refuseRequest({ host: 'attacker.example' }, names)!;
    expect(misdirected.reason).toMatch(/attacker\.example.*IP address.*foyer\.local/);
  });
});
