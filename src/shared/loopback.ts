import { BlockList, isIP } from 'node:net';
import { lazily } from './lazily.ts';

/** For what is not written in the usual way, such as `0:0:0:0:0:0:0:1` or `::ffff:127.0.0.1`. */
const addresses = lazily(() => {
  const list = new BlockList();
  list.addSubnet('127.0.0.0', 8, 'ipv4');
  list.addAddress('::1', 'ipv6');
  return list;
});

/**
 * Whether only programs on this machine reach `host`: 127.0.0.0/8 (RFC 1122, 3.2.1.3), ::1 (RFC 4291, 2.5.3),
 * with or without the brackets of a URL, or localhost.
 */
export function isLoopback(host: string): boolean {
  const bare = unbracket(host);
  if (bare === '::1' || bare.toLowerCase() === 'localhost') return true;
  const version = isIP(bare);
  if (version === 4) return bare.startsWith('127.');
  return version === 6 && addresses().check(bare, 'ipv6');
}

/** A host without the brackets that an IPv6 address has in a URL (RFC 3986, 3.2.2). */
export function unbracket(host: string): string {
  return host.startsWith('[') && host.endsWith(']') ? host.slice(1, -1) : host;
}
