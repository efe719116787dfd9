import { closeSync, openSync, writeSync } from 'node:fs';
import { loadKoffi, throwErrno } from './native.ts';

/**
 * An I2C bus through the kernel's character device, called directly and synchronously, for a thread of
 * its own. The common add-on for it loads in only one thread of a process, and cannot set the bus's
 * timeout. Numbers and layout: linux/i2c.h and linux/i2c-dev.h.
 */

const I2C_IOCTL = {
  /** How often the kernel retries after it has lost the bus to another master. */
  retries: 0x0701,
  /** Timeout of a transfer, in units of 10 ms. */
  timeout: 0x0702,
  slave: 0x0703,
  functions: 0x0705,
  smbus: 0x0720,
} as const;
/** Bit of the adapter's functions: it can do plain I2C transfers of any length. */
const FUNC_I2C = 1;
const SMBUS = { write: 0, read: 1, byteData: 2, wordData: 3, i2cBlockData: 8 } as const;
/** Most bytes of an SMBus block (SMBus 2.0, 5.5.7). */
const BLOCK_BYTES = 32;
/** The length, the block, and a byte for a checksum. */
const DATA_BYTES = BLOCK_BYTES + 2;

/** 65 bytes take 6 ms at 100 kHz and 59 ms at 10 kHz. By default, kernels wait for 1 s. */
const TIMEOUT_10_MS = 10;

/** The kernel's calls, one for each type of argument. */
interface Calls {
  value(fd: number, request: number, argument: number): void;
  buffer(fd: number, request: number, argument: Buffer): void;
  smbus(fd: number, argument: SmbusArgument): void;
}

/** struct i2c_smbus_ioctl_data */
interface SmbusArgument {
  read_write: number;
  command: number;
  size: number;
  data: Buffer;
}

function loadCalls(): Calls {
  const koffi = loadKoffi();
  const library = koffi.load(null);
  const struct = koffi.struct({
    read_write: 'uint8_t',
    command: 'uint8_t',
    size: 'uint32_t',
    data: 'uint8_t *',
  });
  const ioctl = library.func('int ioctl(int fd, unsigned long request, ...)');
  const call = (fd: number, request: number, type: unknown, argument: unknown) => {
    if (ioctl(fd, request, type, argument) < 0)
      throwErrno(koffi, `ioctl 0x${request.toString(16)}`);
  };
  const pointer = koffi.pointer(struct);
  return {
    value: (fd, request, argument) => call(fd, request, 'unsigned long', argument),
    buffer: (fd, request, argument) => call(fd, request, 'uint8_t *', argument),
    smbus: (fd, argument) => call(fd, I2C_IOCTL.smbus, pointer, argument),
  };
}

let calls: Calls | undefined;

/** One bus. Every call lasts as long as its transfer, which the kernel ends after 100 ms if it can. */
export class I2cDevice {
  readonly #path: string;
  readonly #fd: number;
  /** One descriptor per address: the kernel keeps the address with the descriptor. */
  readonly #chips = new Map<number, number>();
  readonly #data = Buffer.alloc(DATA_BYTES);

  /** @throws Error with the code of the failed open, or Refusal when koffi is not installed */
  constructor(bus: number) {
    calls ??= loadCalls();
    this.#path = `/dev/i2c-${bus}`;
    this.#fd = openSync(this.#path, 'r+');
    for (const [request, value] of [
      [I2C_IOCTL.timeout, TIMEOUT_10_MS],
      [I2C_IOCTL.retries, 0],
    ] as const)
      try {
        calls.value(this.#fd, request, value);
      } catch {
        // A kernel without it keeps its own timeout; only this thread waits.
      }
  }

  /** Whether the adapter has plain I2C transfers, or only SMBus. */
  get plain(): boolean {
    // An unsigned long, whose lowest byte comes first on the little-endian boards that exist.
    const functions = Buffer.alloc(8);
    calls!.buffer(this.#fd, I2C_IOCTL.functions, functions);
    return (functions[0]! & FUNC_I2C) !== 0;
  }

  readByte(address: number, register: number): number {
    this.#smbus(address, SMBUS.read, register, SMBUS.byteData);
    return this.#data[0]!;
  }

  writeByte(address: number, register: number, byte: number): void {
    this.#data[0] = byte;
    this.#smbus(address, SMBUS.write, register, SMBUS.byteData);
  }

  /** Reads a register of 16 bits whose high byte comes first, unlike in an SMBus word. */
  readWord(address: number, register: number): number {
    this.#smbus(address, SMBUS.read, register, SMBUS.wordData);
    return (this.#data[0]! << 8) | this.#data[1]!;
  }

  /** Writes a register of 16 bits, its high byte first. */
  writeWord(address: number, register: number, word: number): void {
    this.#data[0] = word >> 8;
    this.#data[1] = word & 0xff;
    this.#smbus(address, SMBUS.write, register, SMBUS.wordData);
  }

  /** Writes up to 32 bytes. */
  writeBlock(address: number, register: number, bytes: Uint8Array): void {
    if (bytes.length > BLOCK_BYTES) throw new Error(`a block has ${BLOCK_BYTES} bytes at most`);
    this.#data[0] = bytes.length;
    this.#data.set(bytes, 1);
    this.#smbus(address, SMBUS.write, register, SMBUS.i2cBlockData);
  }

  /** Writes bytes in one transfer; returns how many the kernel accepted. */
  write(address: number, bytes: Uint8Array): number {
    return writeSync(this.#chip(address), bytes);
  }

  close(): void {
    for (const fd of [this.#fd, ...this.#chips.values()]) closeSync(fd);
    this.#chips.clear();
  }

  #smbus(address: number, readWrite: number, command: number, size: number): void {
    const argument = { read_write: readWrite, command, size, data: this.#data };
    calls!.smbus(this.#chip(address), argument);
  }

  #chip(address: number): number {
    const known = this.#chips.get(address);
    if (known !== undefined) return known;
    const fd = openSync(this.#path, 'r+');
    try {
      // Fails with EBUSY where a kernel driver has the chip.
      calls!.value(fd, I2C_IOCTL.slave, address);
    } catch (error) {
      closeSync(fd);
      throw error;
    }
    this.#chips.set(address, fd);
    return fd;
  }
}
