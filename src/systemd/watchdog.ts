import type { Clock } from '../shared/clock.ts';
import type { Telemetry } from '../shared/telemetry.ts';
import type { Notify } from './notify.ts';

/**
 * Whether to send systemd the next sign of life. The core must have ticked since the last
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
