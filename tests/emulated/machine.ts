import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { createConnection, type Socket } from 'node:net';
import { join } from 'node:path';
import { createInterface } from 'node:readline';

/**
 * `quick`: two processors, as fast as they can be emulated. `exact`: one processor whose clock counts
 * instructions, one a nanosecond, so that times measured in it are those of a machine of 1000 MIPS,
 * whatever else this one does (qemu's option icount).
 */
export type Pace = 'quick' | 'exact';

/** A program of qemu and what it emulates; console and control port are its files in `folder`. */
export interface Emulator {
  program: string;
  args: string[];
}

/** Where the machine's kernel writes what it says. */
export const consoleLog = (folder: string) => join(folder, 'console.log');

/** A device of qemu named `control`, by which commands go in: for a port of the machine. */
export const controlPort = (folder: string) => [
  '-chardev',
  `socket,id=control,path=${join(folder, 'port')},server=on,wait=off`,
];

/** Patient: another load on this computer makes the machine slow, and not wrong. */
const ANSWER_MS = 1_500_000;

/** A machine that runs in qemu, without a network; commands go in by a port of its own. */
export class Machine {
  readonly #qemu: ChildProcess;
  readonly #port: Socket;
  readonly #answers: AsyncIterator<string>;
  readonly #console: string;

  private constructor(qemu: ChildProcess, port: Socket, console: string) {
    this.#qemu = qemu;
    this.#port = port;
    this.#answers = createInterface({ input: port })[Symbol.asyncIterator]();
    this.#console = console;
  }

  /**
   * Boots, and resolves when the machine takes commands.
   * @param folder for what belongs to this run
   */
  static async boot({ program, args }: Emulator, folder: string): Promise<Machine> {
    const qemu = spawn(program, args, { stdio: ['ignore', 'inherit', 'inherit'] });
    const orphan = () => qemu.kill('SIGKILL');
    process.once('exit', orphan);
    qemu.once('exit', () => process.off('exit', orphan));
    const port = await connected(join(folder, 'port'), qemu);
    const machine = new Machine(qemu, port, consoleLog(folder));
    await machine.#untilReady();
    return machine;
  }

  /** An orderly restart; resolves when it takes commands again. */
  async reboot(): Promise<void> {
    this.#send('systemctl reboot');
    await this.#untilReady();
  }

  /**
   * What a shell script prints, run as root.
   * @throws Error with its output when it fails
   */
  async run(script: string): Promise<string> {
    const { code, said } = await this.try(script);
    if (code !== 0) throw new Error(`exit code ${code} of\n${script}\n${said}`);
    return said;
  }

  /** The exit code of a shell script, and what it prints. */
  async try(script: string): Promise<{ code: number; said: string }> {
    this.#send(script);
    const [code, said] = (await this.#line(script)).split(' ');
    return { code: Number(code), said: Buffer.from(said ?? '', 'base64').toString() };
  }

  /** An orderly end; what was written is on the disk. */
  async powerOff(): Promise<void> {
    this.#send('systemctl poweroff');
    await this.#ended();
  }

  /** The end without warning: what the machine has not written to its disk is lost. */
  async cutPower(): Promise<void> {
    this.#qemu.kill('SIGKILL');
    await this.#ended();
  }

  /** Says `ready` when its service has started; an answer before that is that of a shutdown. */
  async #untilReady(): Promise<void> {
    while ((await this.#line('(a boot)')) !== 'ready');
  }

  /** The next line that comes out; `after` is for the message. */
  async #line(after: string): Promise<string> {
    let timer: NodeJS.Timeout | undefined;
    const late = new Promise<never>((_, reject) => {
      timer = setTimeout(
        () => reject(new Error(`no answer to\n${after}\n${this.#last()}`)),
        ANSWER_MS,
      );
    });
    try {
      const { value, done } = await Promise.race([this.#answers.next(), late]);
      if (done) throw new Error(`the machine has ended\n${this.#last()}`);
      return String(value);
    } finally {
      clearTimeout(timer);
    }
  }

  #send(script: string): void {
    this.#port.write(`${Buffer.from(script).toString('base64')}\n`);
  }

  async #ended(): Promise<void> {
    if (this.#qemu.exitCode === null && this.#qemu.signalCode === null)
      await new Promise((resolve) => this.#qemu.once('exit', resolve));
    this.#port.destroy();
  }

  #last(): string {
    return readFileSync(this.#console, 'utf8').slice(-4000);
  }
}

async function connected(path: string, qemu: ChildProcess): Promise<Socket> {
  for (;;) {
    if (qemu.exitCode !== null) throw new Error(`qemu ended with ${qemu.exitCode}`);
    const socket = createConnection(path);
    const done = await new Promise((resolve) => {
      socket.once('connect', () => resolve(true));
      socket.once('error', () => resolve(false));
    });
    if (done) return socket;
    await new Promise((resolve) => setTimeout(resolve, 50));
  }
}

/** Packs files into an archive that a machine can read as a disk: `tar xf /dev/vdb`. */
export function packBag(bag: string, folder: string): void {
  execFileSync('tar', ['--create', '--file', bag, '--directory', folder, '.']);
}
