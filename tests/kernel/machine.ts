import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { createConnection, type Socket } from 'node:net';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import type { Image } from './image.ts';

/**
 * `quick`: two processors, as fast as they can be emulated. `exact`: one processor whose clock counts
 * instructions, one a nanosecond, so that times measured in it are those of a machine of 1000 MIPS,
 * whatever else this one does (qemu's option icount).
 */
export type Pace = 'quick' | 'exact';

const PACE: Record<Pace, string[]> = {
  quick: ['-accel', 'tcg,thread=multi', '-smp', '2'],
  exact: ['-accel', 'tcg', '-smp', '1', '-icount', 'shift=0,sleep=on'],
};
const KERNEL_ARGS = 'console=ttyS0 quiet panic=-1 mitigations=off systemd.show_status=no';
/** Patient: another load on this computer makes the machine slow, and not wrong. */
const ANSWER_MS = 600_000;

/** A PC that runs in qemu, without a network; commands go in by a port of its own. */
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
   * Boots from `disk`, and resolves when it takes commands.
   * @param folder for what belongs to this run
   * @param bag a file that the machine sees as /dev/vdb
   */
  static async boot(
    { kernel, initrd }: Image,
    { disk, bag, folder, pace }: { disk: string; bag: string; folder: string; pace: Pace },
  ): Promise<Machine> {
    const console = join(folder, 'console.log');
    const port = join(folder, 'port');
    const qemu = spawn(
      'qemu-system-x86_64',
      [
        ...['-M', 'pc', '-m', '768', '-nodefaults', '-no-user-config', '-display', 'none'],
        ...PACE[pace],
        ...['-no-reboot', '-kernel', kernel, '-initrd', initrd, '-append', KERNEL_ARGS],
        ...['-serial', `file:${console}`],
        ...['-drive', `if=virtio,format=raw,file=${disk}`],
        ...['-drive', `if=virtio,format=raw,readonly=on,file=${bag}`],
        ...['-device', 'virtio-serial'],
        ...['-chardev', `socket,id=control,path=${port},server=on,wait=off`],
        ...['-device', 'virtserialport,chardev=control,name=control'],
      ],
      { stdio: ['ignore', 'inherit', 'inherit'] },
    );
    const orphan = () => qemu.kill('SIGKILL');
    process.once('exit', orphan);
    qemu.once('exit', () => process.off('exit', orphan));
    const machine = new Machine(qemu, await connected(port, qemu), console);
    await machine.run('true');
    return machine;
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
    let timer: NodeJS.Timeout | undefined;
    const late = new Promise<never>((_, reject) => {
      timer = setTimeout(
        () => reject(new Error(`no answer to\n${script}\n${this.#last()}`)),
        ANSWER_MS,
      );
    });
    try {
      const { value, done } = await Promise.race([this.#answers.next(), late]);
      if (done) throw new Error(`the machine has ended\n${this.#last()}`);
      const [code, said] = String(value).split(' ');
      return { code: Number(code), said: Buffer.from(said ?? '', 'base64').toString() };
    } finally {
      clearTimeout(timer);
    }
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
