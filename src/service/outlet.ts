import fs from 'node:fs';
import { Socket } from 'node:net';

/**
 * A descriptor that others can block: a terminal on which somebody has typed Ctrl-S, a pipe that nobody
 * reads, a slow disk. What is written waits here, and no thread waits for it.
 */
export interface Outlet {
  /** Whole lines. Never waits and never throws. */
  write(text: string): void;
  /** Resolves when everything is written, or after `withinMs`. */
  flush(withinMs: number): Promise<void>;
}

/** What may wait (bytes); above it the oldest lines are dropped. */
const MAX_BYTES = 256 * 1024;
/** Written at once (bytes). */
const PIECE_BYTES = 16 * 1024;
/** How often a descriptor that takes nothing is tried again (ms). */
const FIRST_RETRY_MS = 10;
const LONGEST_RETRY_MS = 160;

/** Writes what it is given, in part or in whole; 0 when nothing can be written now. */
type Write = (bytes: Buffer) => Promise<number>;

/**
 * @param fd of this process
 * @param lost the line that says how many are missing
 */
export function outletOf(fd: number, lost: (lines: number) => string): Outlet {
  return new Backlog(writerOf(fd), lost);
}

function writerOf(fd: number): Write {
  let kind: fs.Stats;
  try {
    kind = fs.fstatSync(fd);
  } catch {
    // It was closed; what is written goes nowhere.
    return async (bytes) => bytes.length;
  }
  if (kind.isSocket()) return socketWriter(fd);
  if (kind.isFile()) return (bytes) => writeTo(fd, bytes);
  try {
    // Another description of the same thing: it alone does not block, whatever shares the first.
    const { O_WRONLY, O_NONBLOCK, O_NOCTTY } = fs.constants;
    const own = fs.openSync(`/proc/self/fd/${fd}`, O_WRONLY | O_NONBLOCK | O_NOCTTY);
    return (bytes) => writeTo(own, bytes);
  } catch {
    // Another system than Linux, or a terminal of another user: a thread of the pool waits then.
    return (bytes) => writeTo(fd, bytes);
  }
}

function writeTo(fd: number, bytes: Buffer): Promise<number> {
  return new Promise((resolve, reject) => {
    fs.write(fd, bytes, 0, bytes.length, null, (error, written) => {
      if (!error) resolve(written);
      else if (error.code === 'EAGAIN') resolve(0);
      else reject(error);
    });
  });
}

/** As systemd gives it for the journal. */
function socketWriter(fd: number): Write {
  const socket = new Socket({ fd, readable: false, writable: true });
  socket.unref();
  let broken: Error | undefined;
  socket.on('error', (error) => {
    broken = error;
  });
  return (bytes) => {
    if (broken) return Promise.reject(broken);
    if (socket.writableLength > 0) return Promise.resolve(0);
    socket.write(bytes);
    return Promise.resolve(bytes.length);
  };
}

class Backlog implements Outlet {
  readonly #write: Write;
  readonly #lostLine: (lines: number) => string;
  #lines: Buffer[] = [];
  #bytes = 0;
  #lost = 0;
  #pumping = false;
  #idle: (() => void)[] = [];

  constructor(write: Write, lost: (lines: number) => string) {
    this.#write = write;
    this.#lostLine = lost;
  }

  write(text: string): void {
    this.#add(Buffer.from(text));
    while (this.#bytes > MAX_BYTES && this.#lines.length > 1) {
      this.#bytes -= this.#lines.shift()!.length;
      this.#lost++;
    }
    if (!this.#pumping) void this.#pump();
  }

  flush(withinMs: number): Promise<void> {
    if (!this.#pumping) return Promise.resolve();
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, withinMs);
      this.#idle.push(() => {
        clearTimeout(timer);
        resolve();
      });
    });
  }

  #add(line: Buffer): void {
    this.#lines.push(line);
    this.#bytes += line.length;
  }

  async #pump(): Promise<void> {
    this.#pumping = true;
    let retryMs = FIRST_RETRY_MS;
    while (this.#lines.length > 0) {
      let piece = this.#next();
      while (piece.length > 0) {
        let written: number;
        try {
          written = await this.#write(piece);
        } catch {
          // Nobody is there to read it, and nobody is left to be told.
          break;
        }
        piece = piece.subarray(written);
        if (written > 0) {
          retryMs = FIRST_RETRY_MS;
          continue;
        }
        await new Promise((resolve) => setTimeout(resolve, retryMs).unref());
        retryMs = Math.min(2 * retryMs, LONGEST_RETRY_MS);
      }
    }
    this.#pumping = false;
    for (const done of this.#idle.splice(0)) done();
  }

  #next(): Buffer {
    const piece: Buffer[] = [];
    let bytes = 0;
    if (this.#lost > 0) {
      piece.push(Buffer.from(this.#lostLine(this.#lost)));
      this.#lost = 0;
    }
    while (this.#lines.length > 0 && (bytes === 0 || bytes < PIECE_BYTES)) {
      const line = this.#lines.shift()!;
      bytes += line.length;
      piece.push(line);
    }
    this.#bytes -= bytes;
    return Buffer.concat(piece);
  }
}
