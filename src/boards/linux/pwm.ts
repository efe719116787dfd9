import {
  closeSync,
  constants,
  existsSync,
  openSync,
  readdirSync,
  readFileSync,
  writeSync,
} from 'node:fs';
import { Refusal } from '../../shared/errors.ts';
import { HEADER_PWM } from './pwm-pins.ts';

/**
 * Hardware PWM through /sys/class/pwm. Order and units: the kernel's Documentation/driver-api/pwm.rst and
 * ABI/testing/sysfs-class-pwm: times in ns; duty_cycle is never above period; polarity changes only while
 * disabled; a channel whose period is 0 accepts only a period.
 */

/** The files of sysfs. */
export interface SysFiles {
  exists(path: string): boolean;
  /** Names in a folder; none when the folder does not exist. */
  list(path: string): string[];
  read(path: string): string;
  /** Opens a file for writing. */
  open(path: string): number;
  /** Writes a value to an open file: one call, one value. */
  write(fd: number, value: string): void;
  close(fd: number): void;
}

/** The files of this machine. */
export const sysFiles: SysFiles = {
  exists: existsSync,
  list: (path) => (existsSync(path) ? readdirSync(path) : []),
  read: (path) => readFileSync(path, 'utf8').trim(),
  // Not for reading, which `export` does not allow; nothing is created or truncated.
  open: (path) => openSync(path, constants.O_WRONLY),
  write: (fd, value) => void writeSync(fd, `${value}\n`, 0),
  close: closeSync,
};

interface PwmSurroundings {
  /** /sys/class/pwm */
  folder: string;
  files: SysFiles;
  wait: (ms: number) => Promise<unknown>;
}

/** A new channel's files belong to root until udev has changed their owner (ms). */
const HANDOVER_MS = 2000;
const LOOK_EVERY_MS = 20;

/** A PWM chip of the kernel, under /sys/class/pwm. */
export class PwmChip {
  readonly path: string;
  readonly channels: number;
  readonly #around: PwmSurroundings;

  /** @throws Refusal when the chip does not exist */
  constructor(number: number, around: PwmSurroundings) {
    const { folder, files } = around;
    this.#around = around;
    this.path = `${folder}/pwmchip${number}`;
    if (!files.exists(this.path)) {
      const others = files.list(folder).filter((name) => name.startsWith('pwmchip'));
      const there = others.length > 0 ? `; pwmChip may also be ${others.join(', ')}` : '';
      throw new Refusal(
        'driver.no-chip',
        `there is no ${this.path}: switch the hardware PWM on (dtoverlay=pwm-2chan in config.txt, then restart the board)${there}`,
      );
    }
    this.channels = Number(files.read(`${this.path}/npwm`));
  }

  /**
   * The channel of every GPIO that has one.
   * @param given the map in the prop file, instead of the known one of the header
   * @throws Refusal when it is not known
   */
  pins(given: Readonly<Record<string, number>> | undefined): ReadonlyMap<number, number> {
    const map = given ?? HEADER_PWM[this.channels];
    if (!map)
      throw new Refusal(
        'driver.no-pin',
        `${this.path} has ${this.channels} channels, and nobody knows which pins they are on; give pwmPins, such as { 18: 0 }`,
      );
    const pins = new Map(Object.entries(map).map(([pin, channel]) => [Number(pin), channel]));
    for (const [pin, channel] of pins)
      if (channel >= this.channels)
        throw new Refusal(
          'driver.no-pin',
          `pwmPins ${pin}: ${this.path} has no channel ${channel}, only 0 to ${this.channels - 1}`,
        );
    return pins;
  }

  /** Exports a channel and starts it with a duty (ns). @throws Refusal */
  async claim(channel: number, periodNs: number, dutyNs: number): Promise<PwmChannel> {
    const { files } = this.#around;
    const folder = `${this.path}/pwm${channel}`;
    if (!files.exists(folder)) this.#put('export', channel);
    const fd = await this.#handedOver(folder);
    const pwm = new PwmChannel(this.#around.files, folder, fd, () =>
      this.#put('unexport', channel),
    );
    try {
      pwm.start(periodNs, dutyNs);
    } catch (error) {
      files.close(fd);
      throw new Refusal('driver.no-pin', `${folder}: ${(error as Error).message}`);
    }
    return pwm;
  }

  #put(file: 'export' | 'unexport', channel: number): void {
    const path = `${this.path}/${file}`;
    try {
      putOnce(this.#around.files, path, String(channel));
    } catch (error) {
      throw new Refusal('driver.no-pin', explain(error as NodeJS.ErrnoException, path, channel));
    }
  }

  async #handedOver(folder: string): Promise<number> {
    for (let waitedMs = 0; ; waitedMs += LOOK_EVERY_MS) {
      try {
        return this.#around.files.open(`${folder}/duty_cycle`);
      } catch (error) {
        const { code } = error as NodeJS.ErrnoException;
        if (waitedMs >= HANDOVER_MS || (code !== 'EACCES' && code !== 'ENOENT'))
          throw new Refusal(
            'driver.no-access',
            `${folder} cannot be written to (${code}): add this user to the group gpio, and a udev rule that hands PWM channels to it`,
          );
      }
      await this.#around.wait(LOOK_EVERY_MS);
    }
  }
}

/** One channel; its duty file stays open. */
export class PwmChannel {
  readonly #files: SysFiles;
  readonly #folder: string;
  readonly #fd: number;
  readonly #unexport: () => void;
  #dutyNs = 0;
  #open = true;

  constructor(files: SysFiles, folder: string, fd: number, unexport: () => void) {
    this.#files = files;
    this.#folder = folder;
    this.#fd = fd;
    this.#unexport = unexport;
  }

  start(periodNs: number, dutyNs: number): void {
    const polarity = `${this.#folder}/polarity`;
    const inversed = this.#files.exists(polarity) && this.#files.read(polarity) !== 'normal';
    const running = this.#get('enable') === 1;
    if (!running || inversed || this.#get('period') !== periodNs) {
      if (this.#get('duty_cycle') !== 0) this.#write(0);
      if (running) this.#put('enable', '0');
      this.#put('period', String(periodNs));
      if (inversed) this.#put('polarity', 'normal');
      this.#write(dutyNs);
      this.#put('enable', '1');
    } else this.#write(dutyNs);
  }

  /** Sets the time that the pin is high in each period (ns). */
  set(dutyNs: number): void {
    if (dutyNs !== this.#dutyNs) this.#write(dutyNs);
  }

  /**
   * Leaves the pin at its safe duty (ns), which has been set. A pin that is safe when low is released;
   * one that must be high keeps running, since a pin whose PWM is off is low.
   */
  close(safeNs: number): void {
    if (!this.#open) return;
    this.#open = false;
    try {
      if (safeNs > 0) return;
      this.#put('enable', '0');
      this.#unexport();
    } finally {
      this.#files.close(this.#fd);
    }
  }

  #write(dutyNs: number): void {
    this.#files.write(this.#fd, String(dutyNs));
    this.#dutyNs = dutyNs;
  }

  #get(file: string): number {
    return Number(this.#files.read(`${this.#folder}/${file}`));
  }

  #put(file: string, value: string): void {
    putOnce(this.#files, `${this.#folder}/${file}`, value);
  }
}

function putOnce(files: SysFiles, path: string, value: string): void {
  const fd = files.open(path);
  try {
    files.write(fd, value);
  } finally {
    files.close(fd);
  }
}

function explain(error: NodeJS.ErrnoException, path: string, channel: number): string {
  switch (error.code) {
    case 'EBUSY':
      return `channel ${channel} of ${path} is used by a kernel driver, such as analogue audio: switch that off, or use another pin`;
    case 'EACCES':
    case 'EPERM':
      return `no permission to write to ${path}: add this user to the group gpio, and a udev rule that hands PWM chips to it`;
    default:
      return `${path}: channel ${channel}: ${error.message}`;
  }
}
