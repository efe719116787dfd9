import { I2cLine } from './i2c-line.ts';
import type { I2cCall, I2cReply } from './i2c-server.ts';
import { BoardThread } from './thread.ts';

/** An I2C bus for drivers; its transfers run one after the other. */
export interface I2cBus {
  /** `i2c`: the adapter can do plain transfers of any length; otherwise it has only SMBus. */
  i2cFuncs(): Promise<{ i2c: boolean }>;
  i2cWrite(address: number, length: number, bytes: Buffer): Promise<{ bytesWritten: number }>;
  readByte(address: number, register: number): Promise<number>;
  writeByte(address: number, register: number, byte: number): Promise<void>;
  writeI2cBlock(address: number, register: number, length: number, bytes: Buffer): Promise<unknown>;
  /**
   * Reads registers of 16 bits, high byte first, one after the other; up to the first that fails.
   * Transfers of words are those of boards that measure, and give way to all others.
   */
  readWords(address: number, registers: readonly number[]): Promise<number[]>;
  writeWord(address: number, register: number, word: number): Promise<void>;
  close(): Promise<void>;
}

/**
 * By bus number. A bus's thread lives as long as the process: a new one would have to be loaded from the
 * disk.
 */
const threads = new Map<number, BusThread>();

/**
 * Opens /dev/i2c-N in the bus's own thread, which all boards of that bus share; no chip is addressed
 * before its first transfer.
 * @param file the thread's program
 * @throws Error with the code of the failed open, Refusal when koffi is not installed
 */
export async function openI2c(bus: number, file?: URL): Promise<I2cBus> {
  let thread = threads.get(bus);
  if (!thread?.alive) {
    thread = new BusThread(bus, file);
    threads.set(bus, thread);
  }
  await thread.ask({ t: 'open' });
  return new ThreadedBus(thread);
}

/**
 * As `openI2c`, in a thread of its own, which ends when the bus is closed: what hangs there keeps no board
 * of the process waiting.
 */
export async function openI2cAlone(bus: number, file?: URL): Promise<I2cBus> {
  const thread = new BusThread(bus, file);
  try {
    await thread.ask({ t: 'open' });
  } catch (error) {
    thread.end();
    throw error;
  }
  return new ThreadedBus(thread, () => thread.end());
}

/** One bus's thread, and its calls. */
class BusThread {
  readonly #thread: BoardThread<I2cCall, I2cReply>;
  readonly #line = new I2cLine((call) => this.#thread.post(call));

  constructor(bus: number, file: URL | undefined) {
    this.#thread = new BoardThread({ kind: 'i2c', bus }, `I2C bus ${bus}`, file, {
      message: (reply) => this.#line.answered(reply),
      ended: (cause) => this.#line.ended(cause),
    });
  }

  get alive(): boolean {
    return this.#thread.ended === undefined;
  }

  async ask(call: I2cCall): Promise<number> {
    if (this.#thread.ended) throw this.#thread.ended;
    return (await this.#line.ask(call)) as number;
  }

  async askReading(call: I2cCall): Promise<number | number[]> {
    if (this.#thread.ended) throw this.#thread.ended;
    return this.#line.askReading(call);
  }

  end(): void {
    this.#thread.end();
  }
}

/** The bus as one board uses it. */
class ThreadedBus implements I2cBus {
  readonly #thread: BusThread;
  readonly #closed: () => void;
  #open = true;

  constructor(thread: BusThread, closed = () => {}) {
    this.#thread = thread;
    this.#closed = closed;
  }

  async i2cFuncs(): Promise<{ i2c: boolean }> {
    return { i2c: (await this.#thread.ask({ t: 'plain' })) === 1 };
  }

  async i2cWrite(
    address: number,
    length: number,
    bytes: Buffer,
  ): Promise<{ bytesWritten: number }> {
    const sent = Uint8Array.from(bytes.subarray(0, length));
    return { bytesWritten: await this.#thread.ask({ t: 'write', address, bytes: sent }) };
  }

  readByte(address: number, register: number): Promise<number> {
    return this.#thread.ask({ t: 'readByte', address, register });
  }

  async writeByte(address: number, register: number, byte: number): Promise<void> {
    await this.#thread.ask({ t: 'writeByte', address, register, byte });
  }

  async writeI2cBlock(
    address: number,
    register: number,
    length: number,
    bytes: Buffer,
  ): Promise<void> {
    const sent = Uint8Array.from(bytes.subarray(0, length));
    await this.#thread.ask({ t: 'writeBlock', address, register, bytes: sent });
  }

  async readWords(address: number, registers: readonly number[]): Promise<number[]> {
    return (await this.#thread.askReading({ t: 'readWords', address, registers })) as number[];
  }

  async writeWord(address: number, register: number, word: number): Promise<void> {
    await this.#thread.askReading({ t: 'writeWord', address, register, word });
  }

  async close(): Promise<void> {
    if (!this.#open) return;
    this.#open = false;
    await this.#thread.ask({ t: 'close' });
    this.#closed();
  }
}

const HUNG: readonly unknown[] = ['ETIMEDOUT', 'EAGAIN'];
/** The chip does not acknowledge; the code depends on the bus driver (ENODEV: drivers/i2c/i2c-stub.c). */
const SILENT: readonly unknown[] = ['EREMOTEIO', 'ENXIO', 'EIO', 'ENODEV'];

/** Whether a transfer has failed because the bus hangs. */
export function isHung(error: unknown): boolean {
  return HUNG.includes((error as NodeJS.ErrnoException).code);
}

/** Whether a transfer has failed because nothing answers. */
export function isSilent(error: unknown): boolean {
  return SILENT.includes((error as NodeJS.ErrnoException).code);
}

/** What a failed transfer means, and what to do about it. */
export function i2cErrorText(error: unknown, bus: number, address: number): string {
  const { code, message } = error as NodeJS.ErrnoException;
  const at = `0x${address.toString(16)} on I2C bus ${bus}`;
  switch (code) {
    case 'ENOENT':
      return `there is no /dev/i2c-${bus}: switch the bus on (dtparam=i2c_arm=on in config.txt, module i2c-dev), or give another bus`;
    case 'EACCES':
    case 'EPERM':
      return `no permission to use /dev/i2c-${bus}: add this user to the group i2c`;
    case 'EBUSY':
      return `a kernel driver uses ${at}: remove its overlay, or set another address`;
    case 'EREMOTEIO':
    case 'ENXIO':
    case 'EIO':
    case 'ENODEV':
      return `nothing answers at ${at}: check its supply, SDA, SCL, ground and the address (i2cdetect -y ${bus})`;
    case 'ETIMEDOUT':
    case 'EAGAIN':
      return `${at}: the bus is stuck: check SDA and SCL for a short, and the pull-up resistors`;
    default:
      return `${at}: ${message}`;
  }
}
