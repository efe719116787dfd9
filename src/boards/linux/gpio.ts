import { closeSync, openSync } from 'node:fs';
import { Refusal } from '../../shared/errors.ts';
import type { InputSpec } from '../board.ts';
import { loadKoffi, throwErrno } from '../native.ts';

/**
 * The GPIO character device, uapi v2 (linux/gpio.h, kernel 5.10 and later), called directly: the kernel
 * keeps this interface stable, while libgpiod has two incompatible ones, and its v1 tools cannot change a
 * level that they hold. Offsets are those of the C structures.
 */

/** `_IOR` and `_IOWR` of asm-generic/ioctl.h: direction, size, type 0xB4, number. */
const ioc = (direction: 2 | 3, size: number, number: number) =>
  ((direction << 30) | (size << 16) | (0xb4 << 8) | number) >>> 0;

const CHIP_INFO = { bytes: 68, label: 32, lines: 64 } as const;
const LINE_INFO = { bytes: 256, consumer: 32, offset: 64, flags: 72 } as const;
const REQUEST = {
  bytes: 592,
  consumer: 256,
  /** gpio_v2_line_config: flags for all lines, then attributes, each for the lines in its mask. */
  flags: 288,
  attributeCount: 296,
  attributes: 320,
  lines: 560,
  fd: 588,
} as const;
const ATTRIBUTE = { bytes: 24, id: 0, value: 8, mask: 16 } as const;
const VALUES = { bytes: 16, bits: 0, mask: 8 } as const;

export const GPIO_IOCTL = {
  chipInfo: ioc(2, CHIP_INFO.bytes, 0x01),
  lineInfo: ioc(3, LINE_INFO.bytes, 0x05),
  request: ioc(3, REQUEST.bytes, 0x07),
  getValues: ioc(3, VALUES.bytes, 0x0e),
  setValues: ioc(3, VALUES.bytes, 0x0f),
} as const;

const FLAG = { input: 1 << 2, output: 1 << 3 } as const;
const BIAS_FLAG = { up: 1 << 8, down: 1 << 9, off: 1 << 10 } as const;
const ATTRIBUTE_ID = { flags: 1, outputValues: 2 } as const;
const MAX_LINES = 64;
const CONSUMER = 'sinew';

/** One ioctl with a buffer that it reads and fills. @throws Error with `code`, like Node's own errors */
export type Ioctl = (fd: number, request: number, argument: Buffer) => void;

/**
 * @param library the file that has `ioctl`; default: the C library of this process.
 * @throws Refusal when the npm package koffi is not installed
 */
export async function loadIoctl(library: string | null = null): Promise<Ioctl> {
  const koffi = loadKoffi();
  const ioctl = koffi.load(library).func('int ioctl(int fd, unsigned long request, ...)');
  return (fd, request, argument) => {
    if (ioctl(fd, request, 'uint8_t *', argument) < 0)
      throwErrno(koffi, `ioctl 0x${request.toString(16)}`);
  };
}

/** Sets or clears one bit of a 64-bit number; the boards that Sinew runs on are little-endian. */
function putBit(buffer: Buffer, at: number, bit: number, on: boolean): void {
  const byte = at + (bit >> 3);
  const mask = 1 << (bit & 7);
  buffer[byte] = on ? buffer[byte]! | mask : buffer[byte]! & ~mask;
}

/** Some lines of one chip, claimed in one request and released by `close`. */
export class GpioLines {
  readonly #ioctl: Ioctl;
  readonly #fd: number;
  readonly #values = Buffer.alloc(VALUES.bytes);
  readonly #got = Buffer.alloc(VALUES.bytes);
  #staged = false;
  #open = true;

  constructor(ioctl: Ioctl, fd: number) {
    this.#ioctl = ioctl;
    this.#fd = fd;
  }

  /** Sets a level for the next `flush`; `line` is the index in the request. */
  put(line: number, level: 0 | 1): void {
    putBit(this.#values, VALUES.bits, line, level === 1);
    putBit(this.#values, VALUES.mask, line, true);
    this.#staged = true;
  }

  /** Writes every line that was set since the last `flush`, in one call. */
  flush(): void {
    if (!this.#staged) return;
    this.#staged = false;
    try {
      this.#ioctl(this.#fd, GPIO_IOCTL.setValues, this.#values);
    } finally {
      this.#values.fill(0);
    }
  }

  get(line: number): 0 | 1 {
    const got = this.#got.fill(0);
    putBit(got, VALUES.mask, line, true);
    this.#ioctl(this.#fd, GPIO_IOCTL.getValues, got);
    return ((got[VALUES.bits + (line >> 3)]! >> (line & 7)) & 1) as 0 | 1;
  }

  /** Reads lines 0 to `count` - 1 in one call, one bit each. */
  getAll(count: number, into: Int32Array): void {
    const got = this.#got.fill(0);
    for (let line = 0; line < count; line++) putBit(got, VALUES.mask, line, true);
    this.#ioctl(this.#fd, GPIO_IOCTL.getValues, got);
    for (let word = 0; word < into.length; word++)
      into[word] = got.readInt32LE(VALUES.bits + 4 * word);
  }

  close(): void {
    if (!this.#open) return;
    this.#open = false;
    closeSync(this.#fd);
  }
}

/** A chip, for example /dev/gpiochip0. */
export class GpioChip {
  readonly label: string;
  readonly lines: number;
  readonly #ioctl: Ioctl;
  readonly #path: string;
  readonly #fd: number;

  /** @throws Refusal when the chip does not exist, or access is denied */
  constructor(path: string, ioctl: Ioctl) {
    this.#path = path;
    this.#ioctl = ioctl;
    const info = Buffer.alloc(CHIP_INFO.bytes);
    try {
      this.#fd = openSync(path, 'r+');
    } catch (error) {
      throw new Refusal('driver.no-chip', explainOpen(error, path));
    }
    try {
      this.#ioctl(this.#fd, GPIO_IOCTL.chipInfo, info);
    } catch (error) {
      this.close();
      throw new Refusal(
        'driver.no-chip',
        `${path} is not a GPIO chip: ${(error as Error).message}`,
      );
    }
    this.label = text(info, CHIP_INFO.label);
    this.lines = info.readUInt32LE(CHIP_INFO.lines);
  }

  /**
   * Claims outputs in one request that also sets their levels, so that none has another level in between.
   * The chip's own pull is set to the same level: on many boards a pin becomes an input when the process
   * that holds it dies, and keeps its pull. A chip without pulls for outputs is claimed without.
   * @param outputs with their safe levels
   */
  claimOutputs(outputs: readonly { name: string; pin: number; level: 0 | 1 }[]): GpioLines {
    const request = this.#request(outputs, FLAG.output);
    addAttribute(
      request,
      ATTRIBUTE_ID.outputValues,
      0,
      outputs.map((_, line) => line),
    );
    for (const [line, { level }] of outputs.entries())
      putBit(request, REQUEST.attributes + ATTRIBUTE.value, line, level === 1);
    const pulled = Buffer.from(request);
    for (const [bias, level] of [
      [BIAS_FLAG.up, 1],
      [BIAS_FLAG.down, 0],
    ] as const) {
      const lines = outputs.flatMap((output, line) => (output.level === level ? [line] : []));
      if (lines.length > 0) addAttribute(pulled, ATTRIBUTE_ID.flags, FLAG.output | bias, lines);
    }
    return this.#claim([pulled, request], outputs);
  }

  claimInputs(inputs: readonly InputSpec[]): GpioLines {
    const request = this.#request(inputs, FLAG.input);
    for (const [pull, bias] of Object.entries(BIAS_FLAG)) {
      const lines = inputs.flatMap((input, line) => (input.pull === pull ? [line] : []));
      if (lines.length > 0) addAttribute(request, ATTRIBUTE_ID.flags, FLAG.input | bias, lines);
    }
    return this.#claim([request], inputs);
  }

  /** Closes the chip; claimed lines stay claimed. */
  close(): void {
    closeSync(this.#fd);
  }

  #request(lines: readonly { name: string; pin: number }[], flags: number): Buffer {
    if (lines.length > MAX_LINES)
      throw new Refusal(
        'driver.no-pin',
        `${lines.length} lines; a request has ${MAX_LINES} at most`,
      );
    for (const { name, pin } of lines)
      if (pin >= this.lines)
        throw new Refusal(
          'driver.no-pin',
          `${name}: ${this.#path} (${this.label}) has no line ${pin}, only 0 to ${this.lines - 1}; is it the chip of the header? gpiodetect lists them`,
        );
    const request = Buffer.alloc(REQUEST.bytes);
    for (const [line, { pin }] of lines.entries()) request.writeUInt32LE(pin, line * 4);
    request.write(CONSUMER, REQUEST.consumer);
    request.writeUInt32LE(flags, REQUEST.flags);
    request.writeUInt32LE(lines.length, REQUEST.lines);
    return request;
  }

  /** Makes the first of the requests that the kernel accepts. */
  #claim(requests: readonly Buffer[], lines: readonly { name: string; pin: number }[]): GpioLines {
    let refused: unknown;
    for (const request of requests)
      try {
        this.#ioctl(this.#fd, GPIO_IOCTL.request, request);
        return new GpioLines(this.#ioctl, request.readInt32LE(REQUEST.fd));
      } catch (error) {
        refused = error;
      }
    throw new Refusal('driver.no-pin', this.#explain(refused as NodeJS.ErrnoException, lines));
  }

  #explain(error: NodeJS.ErrnoException, lines: readonly { name: string; pin: number }[]): string {
    if (error.code === 'EBUSY') {
      const used = lines.flatMap(({ name, pin }) => {
        const by = this.#consumer(pin);
        return by === undefined ? [] : [`GPIO ${pin} (${name}) is used by ${by || 'the kernel'}`];
      });
      return `${used.join('; ') || 'a pin is in use'}: end that program or remove its overlay, or use another pin`;
    }
    if (error.code === 'ENOTTY' || error.code === 'EINVAL')
      return `${this.#path} refuses the request (${error.code}): Sinew needs Linux 5.10 or later, and a chip with pull resistors for inputs`;
    return `${this.#path}: ${error.message}`;
  }

  /** Who uses a line; undefined when it is free. */
  #consumer(pin: number): string | undefined {
    const info = Buffer.alloc(LINE_INFO.bytes);
    info.writeUInt32LE(pin, LINE_INFO.offset);
    this.#ioctl(this.#fd, GPIO_IOCTL.lineInfo, info);
    const used = info.readUInt32LE(LINE_INFO.flags) & 1;
    return used ? text(info, LINE_INFO.consumer) : undefined;
  }
}

function addAttribute(request: Buffer, id: number, value: number, lines: readonly number[]): void {
  const count = request.readUInt32LE(REQUEST.attributeCount);
  const at = REQUEST.attributes + count * ATTRIBUTE.bytes;
  request.writeUInt32LE(id, at + ATTRIBUTE.id);
  request.writeUInt32LE(value, at + ATTRIBUTE.value);
  for (const line of lines) putBit(request, at + ATTRIBUTE.mask, line, true);
  request.writeUInt32LE(count + 1, REQUEST.attributeCount);
}

function text(buffer: Buffer, at: number): string {
  return buffer.toString('utf8', at, buffer.indexOf(0, at));
}

function explainOpen(error: unknown, path: string): string {
  const { code } = error as NodeJS.ErrnoException;
  if (code === 'ENOENT')
    return `there is no ${path}; gpiodetect lists the GPIO chips of this board`;
  if (code === 'EACCES' || code === 'EPERM')
    return `no permission to use ${path}: add this user to the group gpio`;
  return `${path} cannot be opened (${code})`;
}
