import { connect, type Socket } from 'node:net';

/** One HTTP request written out as it stands, so that no client tidies it; the answer as text. */
export function raw(port: number, text: string, withinMs = 8000): Promise<string> {
  return new Promise((resolve) => {
    const socket = connect(port, '127.0.0.1');
    let answer = '';
    const end = () => {
      clearTimeout(timer);
      socket.destroy();
      resolve(answer);
    };
    const timer = setTimeout(end, withinMs);
    socket.on('data', (data) => {
      answer += data;
    });
    socket.on('error', end);
    socket.on('close', end);
    socket.write(text);
  });
}

/** GET `path` with these header lines. */
export function get(port: number, path: string, headers: string[]): Promise<string> {
  return raw(port, [`GET ${path} HTTP/1.1`, ...headers, 'Connection: close', '', ''].join('\r\n'));
}

export const statusOf = (answer: string): number =>
  Number(/^HTTP\/1\.1 (\d+) /.exec(answer)?.[1] ?? 0);

/** Connections whose request comes in letter by letter; each notes when the daemon ends it. */
export class Dribble {
  readonly #sockets: Socket[] = [];
  /** How long each lasted that has been ended (ms). */
  readonly lastedMs: number[] = [];
  readonly #timer: NodeJS.Timeout;

  constructor(port: number, count: number) {
    for (let i = 0; i < count; i++) {
      const startMs = performance.now();
      const socket = connect(port, '127.0.0.1');
      socket.on('error', () => {});
      socket.on('connect', () =>
        socket.write('GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: '),
      );
      socket.on('close', () => this.lastedMs.push(performance.now() - startMs));
      socket.resume();
      this.#sockets.push(socket);
    }
    this.#timer = setInterval(() => {
      for (const socket of this.#sockets) if (!socket.destroyed) socket.write('x');
    }, 500);
  }

  get open(): number {
    return this.#sockets.length - this.lastedMs.length;
  }

  end(): void {
    clearInterval(this.#timer);
    for (const socket of this.#sockets) socket.destroy();
  }
}
