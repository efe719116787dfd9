import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import koffi from 'koffi';

const libc = koffi.load('libc.so.6');
const socket = libc.func('int socket(int domain, int type, int protocol)');
const bind = libc.func('int bind(int fd, void *address, uint32_t length)');
const recv = libc.func('long recv(int fd, _Out_ uint8_t *buffer, size_t length, int flags)');
const shutdown = libc.func('int shutdown(int fd, int how)');

const AF_UNIX = 1;
const SOCK_DGRAM = 2;
const SHUT_RDWR = 2;

/** What systemd holds out to a service of Type=notify: a datagram socket, sd_notify(3). */
export class NotifySocket {
  readonly path: string;
  /** Everything received, with its time (ms on the clock of `performance`). */
  readonly received: { state: string; atMs: number }[] = [];
  readonly #folder = mkdtempSync(join(tmpdir(), 'sinew-notify-'));
  readonly #fd: number;

  constructor() {
    this.path = join(this.#folder, 'notify');
    this.#fd = socket(AF_UNIX, SOCK_DGRAM, 0);
    // struct sockaddr_un, unix(7): the family in the machine's order, then the path.
    const address = Buffer.alloc(110);
    address.writeUInt16LE(AF_UNIX);
    address.write(this.path, 2);
    if (bind(this.#fd, address, address.length) !== 0) throw new Error('cannot bind the socket');
    this.#receive();
  }

  #receive(): void {
    const buffer = Buffer.alloc(4096);
    recv.async(this.#fd, buffer, buffer.length, 0, (error: Error | null, length: number) => {
      if (error || length <= 0) return;
      const atMs = performance.now();
      for (const state of buffer.toString('utf8', 0, length).split('\n'))
        if (state) this.received.push({ state, atMs });
      this.#receive();
    });
  }

  count(state: string): number {
    return this.received.filter((one) => one.state === state).length;
  }

  /** The time (ms) since the last `state`. */
  sinceMs(state: string): number {
    return performance.now() - this.received.findLast((one) => one.state === state)!.atMs;
  }

  close(): void {
    shutdown(this.#fd, SHUT_RDWR);
    rmSync(this.#folder, { recursive: true });
  }
}
