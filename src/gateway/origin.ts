import { isIP } from 'node:net';
import { hostname, networkInterfaces } from 'node:os';
import { unbracket } from '../shared/loopback.ts';
import { pageAddress } from '../shared/page-address.ts';
import { plain } from '../shared/plain.ts';

/**
 * Guards against web pages of other sites: a browser tells the page's Origin (RFC 6454), and a
 * name that an attacker points at this machine (DNS rebinding) shows in the Host header.
 */

/** The names, besides IP literals, by which this daemon may be addressed (lower case). */
export function ownNames(listenHost: string, machine = hostname()): Set<string> {
  const name = machine.toLowerCase();
  return new Set(['localhost', name, `${name}.local`, listenHost.toLowerCase()]);
}

/** Listening here is listening at every address of the machine. */
const EVERY_ADDRESS = ['0.0.0.0', '::'];

/**
 * The page's addresses for other devices, the best first: IPv4, as it is easier to read and to type.
 * Addresses of one link (RFC 4291, 2.5.6) need a zone that a browser does not take.
 */
export function pageAddresses(
  listenHost: string,
  port: number,
  interfaces: ReturnType<typeof networkInterfaces> = networkInterfaces(),
): string[] {
  const here = Object.values(interfaces).flatMap((some) => some ?? []);
  const hosts = EVERY_ADDRESS.includes(unbracket(listenHost))
    ? here
        .filter(({ internal, address }) => !internal && !/^fe80:/i.test(address))
        .sort((a, b) => Number(a.family === 'IPv6') - Number(b.family === 'IPv6'))
        .map(({ address }) => address)
    : [unbracket(listenHost)];
  return hosts.map((host) => pageAddress(host, port));
}

export interface Headers {
  host?: string | undefined;
  origin?: string | undefined;
}

interface RefusedRequest {
  /** HTTP status: 421 Misdirected Request (RFC 9110, 15.5.20), 403 or 400. */
  status: 421 | 403 | 400;
  reason: string;
}

const HOST = /^(\[[0-9a-f:.]+\]|[a-z0-9_.-]+)(?::\d{1,5})?$/;

/**
 * Why a request with these headers is not served; `null` where it is fine.
 * @param rawHeaders names and values in turn, as they came: of two hosts `headers` holds only one.
 */
export function refuseRequest(
  headers: Headers,
  names: Set<string>,
  rawHeaders: readonly string[] = [],
): RefusedRequest | null {
  const hosts = rawHeaders.filter((name, i) => i % 2 === 0 && name.toLowerCase() === 'host');
  // RFC 9112, 3.2.
  if (hosts.length > 1) return { status: 400, reason: 'more than one Host header; send one' };
  const host = headers.host?.toLowerCase() ?? '';
  const name = HOST.exec(host)?.[1];
  if (name === undefined || !(isIP(unbracket(name)) || names.has(name))) {
    return {
      status: 421,
      reason: `this daemon does not answer to the host ${quoted(host)}; use its IP address or one of ${[...names].join(', ')}`,
    };
  }
  // Only browsers send an Origin.
  if (headers.origin === undefined) return null;
  if (originHost(headers.origin) !== host) {
    return {
      status: 403,
      reason: `a page of ${quoted(headers.origin)} may not talk to this daemon; open the page that the daemon serves itself`,
    };
  }
  return null;
}

/** What a stranger has sent, for the answer and the log. */
function quoted(text: string): string {
  return JSON.stringify(plain(text.slice(0, 100)));
}

function originHost(origin: string): string | null {
  if (!URL.canParse(origin)) return null;
  const url = new URL(origin);
  return url.protocol === 'http:' || url.protocol === 'https:' ? url.host : null;
}
