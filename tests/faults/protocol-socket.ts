import { createHash, randomBytes } from 'node:crypto';
import { connect, type Socket } from 'node:net';

/** The wire of RFC 6455, written out by hand so that every rule can be broken; sections as there. */

export const OP = { continuation: 0, text: 1, binary: 2, close: 8, ping: 9, pong: 10 } as const;

export interface FrameForm {
  op: number;
  payload?: Buffer;
  fin?: boolean;
  /** RSV1 to RSV3 as bits 4, 2, 1 (5.2). */
  rsv?: number;
  masked?: boolean;
  key?: Buffer;
  /** The form of the length (5.2): its own least one, or a longer one. */
  lengthForm?: 'least' | '16 bits' | '64 bits';
  /** A length that is told in place of the payload's own. */
  claims?: bigint;
}

/** One frame (5.2), whether it is a sound one or not. */
export function frame(form: FrameForm): Buffer {
  const { op, payload = Buffer.alloc(0), fin = true, rsv = 0, masked = true } = form;
  const length = form.claims ?? BigInt(payload.length);
  const first = (fin ? 0x80 : 0) | (rsv << 4) | op;
  const mask = masked ? 0x80 : 0;
  let head: Buffer;
  const as64 = form.lengthForm === '64 bits' || length > 0xffffn;
  if (as64) {
    head = Buffer.alloc(10);
    head[1] = mask | 127;
    head.writeBigUInt64BE(BigInt.asUintN(64, length), 2);
  } else if (form.lengthForm === '16 bits' || length > 125n) {
    head = Buffer.alloc(4);
    head[1] = mask | 126;
    head.writeUInt16BE(Number(length), 2);
  } else head = Buffer.from([0, mask | Number(length)]);
  head[0] = first;
  if (!masked) return Buffer.concat([head, payload]);
  const key = form.key ?? randomBytes(4);
  const body = Buffer.from(payload);
  for (let i = 0; i < body.length; i++) body[i]! ^= key[i & 3]!;
  return Buffer.concat([head, key, body]);
}

/** A close frame's payload (5.5.1). */
export function closing(code: number, reason: Buffer | string = ''): Buffer {
  const payload = Buffer.concat([Buffer.alloc(2), Buffer.from(reason)]);
  payload.writeUInt16BE(code, 0);
  return payload;
}

const GUID = '258EAFA5-E914-47DA-95CA-C5AB0DC85B11';

/** One connection, its answers read frame by frame and held against the RFC. */
export class RawSocket {
  /** What the server has sent that no server may send. */
  readonly breaches: string[] = [];
  onText: (text: string) => void = () => {};
  pongs: Buffer[] = [];
  /** The code of the server's close frame; 0 for one without a code. */
  closeCode: number | undefined;
  ended = false;
  extensions: string | undefined;
  readonly socket: Socket;
  #bytes: Buffer = Buffer.alloc(0);
  #upgraded = false;
  #wakes: (() => void)[] = [];

  constructor(port: number) {
    this.socket = connect({ port, host: '127.0.0.1', noDelay: true });
    this.socket.on('data', (data) => this.#read(data));
    this.socket.on('error', () => this.#end());
    this.socket.on('close', () => this.#end());
    this.socket.on('end', () => this.#end());
  }

  /** Connects and upgrades (4.1), offering compression as every browser does. */
  static async open(port: number): Promise<RawSocket> {
    const raw = new RawSocket(port);
    const key = randomBytes(16).toString('base64');
    raw.socket.write(
      `GET /api HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: ${key}\r\nSec-WebSocket-Extensions: permessage-deflate; client_max_window_bits\r\n\r\n`,
    );
    const head = await raw.#head();
    const accept = createHash('sha1')
      .update(key + GUID)
      .digest('base64');
    if (!head.startsWith('HTTP/1.1 101 ')) throw new Error(`no upgrade: ${head.slice(0, 100)}`);
    if (!head.includes(`Sec-WebSocket-Accept: ${accept}\r\n`)) raw.breaches.push('wrong accept');
    raw.extensions = /sec-websocket-extensions: (.*)\r\n/i.exec(head)?.[1];
    return raw;
  }

  async #head(): Promise<string> {
    let head: string | undefined;
    await this.until(() => {
      const end = this.#bytes.indexOf('\r\n\r\n');
      if (end < 0) return this.ended;
      head = this.#bytes.subarray(0, end + 4).toString('latin1');
      this.#bytes = this.#bytes.subarray(end + 4);
      this.#upgraded = true;
      return true;
    }, 5000);
    this.#parse();
    return head ?? 'the connection ended';
  }

  /** Resolves with whether `done` came true within that time (ms); looked at whenever something comes in. */
  async until(done: () => boolean, withinMs: number): Promise<boolean> {
    const endMs = performance.now() + withinMs;
    while (!done()) {
      const leftMs = endMs - performance.now();
      if (leftMs <= 0) return false;
      await new Promise<void>((resolve) => {
        const timer = setTimeout(resolve, leftMs);
        this.#wakes.push(() => {
          clearTimeout(timer);
          resolve();
        });
      });
    }
    return true;
  }

  write(bytes: Buffer): void {
    if (!this.socket.destroyed) this.socket.write(bytes);
  }

  /** Resolves when what was written has gone out, or never will. */
  async drained(): Promise<void> {
    while (this.socket.writableLength > 256 * 1024 && !this.ended)
      await new Promise<void>((resolve) => {
        this.socket.once('drain', resolve);
        this.socket.once('close', resolve);
      });
  }

  #wake(): void {
    for (const wake of this.#wakes.splice(0)) wake();
  }

  #end(): void {
    this.ended = true;
    this.#wake();
  }

  #read(data: Buffer): void {
    this.#bytes = this.#bytes.length > 0 ? Buffer.concat([this.#bytes, data]) : data;
    if (this.#upgraded) this.#parse();
    this.#wake();
  }

  #parse(): void {
    for (;;) {
      const bytes = this.#bytes;
      if (bytes.length < 2) return;
      const first = bytes[0]!;
      const op = first & 0x0f;
      let length = bytes[1]! & 0x7f;
      let at = 2;
      if (length === 126) {
        if (bytes.length < 4) return;
        length = bytes.readUInt16BE(2);
        at = 4;
      } else if (length === 127) {
        if (bytes.length < 10) return;
        length = Number(bytes.readBigUInt64BE(2));
        at = 10;
      }
      if (bytes.length < at + length) return;
      if (bytes[1]! & 0x80) this.breaches.push('the server masks its frames (5.1)');
      if (first & 0x70) this.breaches.push('a reserved bit is set (5.2)');
      if (!(first & 0x80)) this.breaches.push('a fragment, though none is needed');
      if (this.closeCode !== undefined) this.breaches.push('a frame after the close frame (5.5.1)');
      const payload = bytes.subarray(at, at + length);
      this.#bytes = bytes.subarray(at + length);
      if (op === OP.text) this.onText(payload.toString());
      else if (op === OP.pong) this.pongs.push(Buffer.from(payload));
      else if (op === OP.close) this.closeCode = length >= 2 ? payload.readUInt16BE(0) : 0;
      else if (op !== OP.ping) this.breaches.push(`a frame of opcode ${op}`);
      else this.write(frame({ op: OP.pong, payload }));
    }
  }
}
