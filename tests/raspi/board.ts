import { createConnection, type Socket } from 'node:net';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { consoleLog, controlPort, Machine, type Pace } from '../emulated/machine.ts';
import type { BoardImage } from './image.ts';

/** The single-board computer, and what its pins show of themselves, without a part of Sinew. */

const PACE: Record<Pace, string[]> = {
  quick: ['-accel', 'tcg,thread=multi'],
  exact: ['-accel', 'tcg', '-icount', 'shift=0,sleep=on'],
};
const KERNEL_ARGS =
  'console=ttyS1,115200 quiet panic=-1 mitigations=off systemd.show_status=no systemd.getty_auto=no';

/** GPIO registers: BCM2835 ARM Peripherals, 6.1, at the address that the BCM2837 has them. */
const GPFSEL0 = 0x3f200000;
const GPLEV0 = 0x3f200034;
const GPSET0 = 0x3f20001c;
const GPCLR0 = 0x3f200028;

/** What a pin is for, as GPFSELn says (table 6-2). */
export const FUNCTIONS = [
  'input',
  'output',
  'alt5',
  'alt4',
  'alt0',
  'alt1',
  'alt2',
  'alt3',
] as const;
export interface Pin {
  function: (typeof FUNCTIONS)[number];
  level: 0 | 1;
}

/** The machine's hardware seen from outside, by the emulator's own test port. */
export class Pins {
  readonly #socket: Socket;
  readonly #lines: AsyncIterator<string>;

  private constructor(socket: Socket) {
    this.#socket = socket;
    this.#lines = createInterface({ input: socket })[Symbol.asyncIterator]();
  }

  static async connect(folder: string): Promise<Pins> {
    const socket = createConnection(join(folder, 'qtest'));
    await new Promise((resolve, reject) => {
      socket.once('connect', resolve);
      socket.once('error', reject);
    });
    return new Pins(socket);
  }

  async pin(gpio: number): Promise<Pin> {
    const select = await this.#read(GPFSEL0 + 4 * Math.floor(gpio / 10));
    const level = await this.#read(GPLEV0 + 4 * Math.floor(gpio / 32));
    return {
      function: FUNCTIONS[(select >> (3 * (gpio % 10))) & 7]!,
      level: ((level >>> (gpio % 32)) & 1) as 0 | 1,
    };
  }

  /** Acts on a pin that is an input from outside, as a contact does. */
  async press(gpio: number, level: 0 | 1): Promise<void> {
    await this.#ask(`writel ${level ? GPSET0 : GPCLR0} ${1 << gpio}`);
  }

  close(): void {
    this.#socket.destroy();
  }

  async #read(address: number): Promise<number> {
    return Number((await this.#ask(`readl 0x${address.toString(16)}`)).split(' ')[1]);
  }

  async #ask(command: string): Promise<string> {
    this.#socket.write(`${command}\n`);
    for (;;) {
      const { value, done } = await this.#lines.next();
      if (done) throw new Error('the emulator has ended');
      // It reports interrupts, too.
      if (String(value).startsWith('OK')) return value;
      if (String(value).startsWith('FAIL')) throw new Error(`${command}: ${value}`);
    }
  }
}

/** The board with the card `disk` of its folder; it takes commands by its first UART. */
export const bootBoard = (
  { kernel, initrd, trees }: BoardImage,
  folder: string,
  pace: Pace,
  tree: keyof BoardImage['trees'],
) =>
  Machine.boot(
    {
      program: 'qemu-system-aarch64',
      args: [
        ...['-M', 'raspi3b', '-m', '1G', '-display', 'none', '-monitor', 'none'],
        ...PACE[pace],
        ...['-kernel', kernel, '-dtb', trees[tree], '-initrd', initrd, '-append', KERNEL_ARGS],
        ...['-drive', `if=sd,format=raw,cache=unsafe,file=${join(folder, 'disk')}`],
        ...[...controlPort(folder), '-serial', 'chardev:control'],
        ...['-serial', `file:${consoleLog(folder)}`],
        ...['-qtest', `unix:${join(folder, 'qtest')},server=on,wait=off`, '-qtest-log', 'none'],
      ],
    },
    folder,
  );
