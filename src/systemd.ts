import type { Clock } from './shared/clock.ts';
import { Refusal } from './shared/errors.ts';
import type { Telemetry } from './shared/telemetry.ts';

/** Tells systemd something, such as `READY=1`; sd_notify(3) lists what it understands. */
export type Notify = (state: string) => void;

/**
 * Node cannot send to a datagram socket, so that systemd's own library does it.
 * @returns undefined where nobody listens: not started by systemd, or not as Type=notify
 * @throws Refusal when somebody listens and cannot be told: the daemon would be ended for silence
 */
export async function openNotify(env: NodeJS.ProcessEnv): Promise<Notify | undefined> {
  if (!env.NOTIFY_SOCKET) return undefined;
  try {
    const { default: koffi } = await import('koffi');
    const notify = koffi
      .load('libsystemd.so.0')
      .func('int sd_notify(int unset_environment, const char *state)');
    return (state) => {
      notify(0, state);
    };
  } catch (error) {
    throw new Refusal(
      'internal',
      `systemd cannot be notified: ${(error as Error).message}; sudo apt install libsystemd0, then run install.sh of the release again`,
    );
  }
}

/**
 * Whether the daemon deserves its next sign of life. The core must have ticked since the last
 * question. The gateway may stand still for a while: without it the prop parks by itself, and to
 * drop its power in the middle of that would be worse than the fault.
 */
export class Vitals {
  readonly #telemetry: Telemetry;
  readonly #clock: Clock;
  readonly #gatewayGraceMs: number;
  #coreBeat: number;
  #gatewayBeat: number;
  #gatewayMs: number;

  constructor(telemetry: Telemetry, clock: Clock, gatewayGraceMs: number) {
    this.#telemetry = telemetry;
    this.#clock = clock;
    this.#gatewayGraceMs = gatewayGraceMs;
    this.#coreBeat = telemetry.coreBeat;
    this.#gatewayBeat = telemetry.gatewayBeat;
    this.#gatewayMs = clock.nowMs();
  }

  alive(): boolean {
    const { coreBeat, gatewayBeat } = this.#telemetry;
    const nowMs = this.#clock.nowMs();
    const ticked = coreBeat !== this.#coreBeat;
    this.#coreBeat = coreBeat;
    if (gatewayBeat !== this.#gatewayBeat) this.#gatewayMs = nowMs;
    this.#gatewayBeat = gatewayBeat;
    return ticked && nowMs - this.#gatewayMs <= this.#gatewayGraceMs;
  }
}

/** How often systemd wants a sign of life from this process (ms); undefined when it wants none. */
export function watchdogMs(env: NodeJS.ProcessEnv, pid: number): number | undefined {
  const { WATCHDOG_USEC, WATCHDOG_PID } = env;
  if (WATCHDOG_PID && Number(WATCHDOG_PID) !== pid) return undefined;
  const us = Number(WATCHDOG_USEC);
  return us > 0 ? us / 1000 : undefined;
}

/** Three times in every watchdog period, `WATCHDOG=1` while all is well. Returns how to end it. */
export function feedWatchdog(
  notify: Notify,
  vitals: Pick<Vitals, 'alive'>,
  clock: Clock,
  periodMs: number,
): () => void {
  let cancel = () => {};
  const feed = () => {
    cancel = clock.after(periodMs / 3, feed);
    if (vitals.alive()) notify('WATCHDOG=1');
  };
  cancel = clock.after(periodMs / 3, feed);
  return () => cancel();
}
