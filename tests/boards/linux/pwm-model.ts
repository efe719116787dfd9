import type { SysFiles } from '../../../src/boards/linux/pwm.ts';

const errno = (code: string) => Object.assign(new Error(`${code} from the kernel`), { code });

interface Channel {
  period: number;
  duty: number;
  enabled: boolean;
  polarity: 'normal' | 'inversed';
}

/**
 * /sys/class/pwm as the kernel keeps it (Documentation/driver-api/pwm.rst, drivers/pwm/core.c and
 * sysfs.c, from memory): a state is applied only when its period is above 0 and its duty not above
 * the period; polarity changes only while disabled.
 */
export class PwmSysfs implements SysFiles {
  readonly npwm: number;
  readonly channels = new Map<number, Channel>();
  /** Every write that was taken: `pwm0/period 20000000`. */
  readonly writes: string[] = [];
  /** Channels that a kernel driver holds. */
  readonly taken = new Set<number>();
  /** How often a new channel's files still belong to root. */
  rootFor = 0;
  /** No write is taken any more. */
  broken = false;
  readonly opened = new Set<number>();
  readonly #folder: string;
  readonly #paths: string[] = [];

  constructor(npwm: number, folder = '/sys/class/pwm', chip = 0) {
    this.npwm = npwm;
    this.#folder = `${folder}/pwmchip${chip}`;
  }

  /** What a channel does: the time its pin is high in each period (ns); 0 while it is off. */
  highNs(channel: number): number {
    const state = this.channels.get(channel);
    if (!state?.enabled) return 0;
    return state.polarity === 'normal' ? state.duty : state.period - state.duty;
  }

  exists(path: string): boolean {
    if (path === this.#folder) return true;
    const [channel] = this.#parse(path);
    return channel !== undefined && this.channels.has(channel);
  }

  list(path: string): string[] {
    return this.#folder.startsWith(`${path}/`) ? [this.#folder.slice(path.length + 1)] : [];
  }

  read(path: string): string {
    if (path === `${this.#folder}/npwm`) return String(this.npwm);
    const [channel, file] = this.#parse(path);
    const state = channel === undefined ? undefined : this.channels.get(channel);
    if (!state) throw errno('ENOENT');
    if (file === 'period') return String(state.period);
    if (file === 'duty_cycle') return String(state.duty);
    if (file === 'enable') return state.enabled ? '1' : '0';
    if (file === 'polarity') return state.polarity;
    throw errno('ENOENT');
  }

  open(path: string): number {
    const [channel, file] = this.#parse(path);
    if (channel === undefined && !/\/(un)?export$/.test(path)) throw errno('ENOENT');
    if (channel !== undefined && !this.channels.has(channel)) throw errno('ENOENT');
    if (file === 'duty_cycle' && this.rootFor-- > 0) throw errno('EACCES');
    const fd = this.#paths.push(path) - 1;
    this.opened.add(fd);
    return fd;
  }

  write(fd: number, value: string): void {
    if (!this.opened.has(fd)) throw errno('EBADF');
    if (this.broken) throw errno('EIO');
    const path = this.#paths[fd]!;
    const [channel, file] = this.#parse(path);
    if (channel === undefined) this.#export(path.endsWith('/unexport'), Number(value));
    else this.#apply(this.channels.get(channel), file!, value);
    this.writes.push(`${path.slice(this.#folder.length + 1)} ${value}`);
  }

  close(fd: number): void {
    if (!this.opened.delete(fd)) throw errno('EBADF');
  }

  #export(undo: boolean, channel: number): void {
    if (undo) {
      if (!this.channels.delete(channel)) throw errno('ENODEV');
      return;
    }
    if (channel >= this.npwm) throw errno('ENODEV');
    if (this.taken.has(channel) || this.channels.has(channel)) throw errno('EBUSY');
    this.channels.set(channel, { period: 0, duty: 0, enabled: false, polarity: 'normal' });
  }

  #apply(state: Channel | undefined, file: string, value: string): void {
    if (!state) throw errno('ENODEV');
    const next = { ...state };
    if (file === 'period') next.period = Number(value);
    if (file === 'duty_cycle') next.duty = Number(value);
    if (file === 'enable') next.enabled = value === '1';
    if (file === 'polarity') next.polarity = value as Channel['polarity'];
    if (next.period === 0 || next.duty > next.period) throw errno('EINVAL');
    if (next.polarity !== state.polarity && state.enabled) throw errno('EBUSY');
    Object.assign(state, next);
  }

  #parse(path: string): [channel?: number, file?: string] {
    if (!path.startsWith(`${this.#folder}/`)) return [];
    const match = /^pwm(\d+)(?:\/(\w+))?$/.exec(path.slice(this.#folder.length + 1));
    return match ? [Number(match[1]), match[2]] : [];
  }
}
