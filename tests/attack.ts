import { connect, type Socket } from 'node:net';

/** What an attacker sends on each connection: as for a session, the half of a request, nothing. */
export const ATTACKS = {
  handshake:
    'GET /api HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n' +
    'Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n',
  'half-sent': 'GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ',
  silent: '',
} as const;

/** Holds connections open without the token, and opens each again as soon as it is closed. */
export class Attack {
  opened = 0;
  readonly #sockets = new Set<Socket>();
  #over = false;

  readonly #pauseMs: number;

  constructor(port: number, count: number, kind: keyof typeof ATTACKS, pauseMs = 0) {
    this.#pauseMs = pauseMs;
    for (let n = 0; n < count; n++) this.#hold(port, ATTACKS[kind]);
  }

  #hold(port: number, text: string): void {
    if (this.#over) return;
    const socket = connect(port, '127.0.0.1', () => {
      this.opened++;
      socket.write(text);
    });
    this.#sockets.add(socket);
    socket.on('data', () => {});
    socket.on('error', () => {});
    socket.on('close', () => {
      this.#sockets.delete(socket);
      setTimeout(() => this.#hold(port, text), this.#pauseMs);
    });
  }

  end(): void {
    this.#over = true;
    for (const socket of this.#sockets) socket.destroy();
  }
}
