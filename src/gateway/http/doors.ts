import type { Server, Socket } from 'node:net';
import { LOOPBACK_WAITING, WAITING, WAITING_IN_ALL } from '../../api/limits.ts';

/**
 * Connections that have not opened a session, by address. Where there are too many the oldest gives
 * way, never the new one: one that only holds connections keeps nobody out, and a client that has the
 * token needs its connection for a moment.
 */
export class Doors {
  /** Oldest first. */
  readonly #waiting = new Map<string, Set<Socket>>();
  #count = 0;

  constructor(server: Server) {
    server.on('connection', (socket) => this.#add(socket));
  }

  /** The session on this connection is open: it is counted by its place from now on. */
  letIn(socket: object): void {
    for (const [address, waiting] of this.#waiting) {
      if (!waiting.delete(socket as Socket)) continue;
      this.#count--;
      if (waiting.size === 0) this.#waiting.delete(address);
      return;
    }
  }

  #add(socket: Socket): void {
    const address = addressOf(socket);
    const waiting = this.#waiting.get(address) ?? new Set();
    this.#waiting.set(address, waiting);
    waiting.add(socket);
    this.#count++;
    socket.once('close', () => this.letIn(socket));
    const most = address === LOOPBACK ? LOOPBACK_WAITING : WAITING;
    if (waiting.size > most) this.#end(waiting);
    else if (this.#count > WAITING_IN_ALL) this.#end(this.#largest());
  }

  #end(waiting: Set<Socket>): void {
    const { value: oldest } = waiting.values().next();
    if (!oldest) return;
    this.letIn(oldest);
    oldest.destroy();
  }

  #largest(): Set<Socket> {
    let largest = new Set<Socket>();
    for (const waiting of this.#waiting.values())
      if (waiting.size > largest.size) largest = waiting;
    return largest;
  }
}

const LOOPBACK = 'loopback';

/** One household of IPv6 has 2^64 addresses (RFC 4291, 2.5.4): they count as one. */
export function addressOf({ remoteAddress = '' }: Pick<Socket, 'remoteAddress'>): string {
  const address = remoteAddress.replace(/^::ffff:(?=\d+\.)/i, '').replace(/%.*$/, '');
  if (address === '::1' || address.startsWith('127.')) return LOOPBACK;
  if (!address.includes(':')) return address;
  const [before = '', after] = address.split('::');
  const head = before === '' ? [] : before.split(':');
  const tail = !after ? [] : after.split(':');
  const gap = after === undefined ? 0 : Math.max(0, 8 - head.length - tail.length);
  return [...head, ...Array<string>(gap).fill('0'), ...tail].slice(0, 4).join(':');
}
