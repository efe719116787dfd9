import { Server } from 'node-osc';
import { OSC_BURST, OSC_PER_S, OSC_RETRY_MS } from '../api/limits.ts';
import type { Clock } from '../shared/clock.ts';
import { Bucket } from './bucket.ts';
import type { Log } from './log.ts';

/**
 * Listens for OSC 1.0 messages over UDP (opensoundcontrol.org, OSC 1.0 specification) and passes
 * their addresses on, no faster than a trigger can use them. Resolves with a way to close.
 * @throws Error when the port is not available
 */
export function listenOsc(
  { host, port }: { host: string; port: number },
  clock: Clock,
  log: Log,
  onAddress: (address: string) => void,
): Promise<() => Promise<void>> {
  const bucket = new Bucket(OSC_PER_S, OSC_BURST, clock.nowMs());
  return new Promise((resolve, reject) => {
    const server = new Server(port, host);
    server.on('listening', () => resolve(async () => void (await server.close())));
    server.on('message', ([address]) => {
      if (bucket.take(1, clock.nowMs())) onAddress(String(address).slice(0, 200));
    });
    server.on('error', (error) => {
      log.warn({ err: error }, 'an OSC message could not be read');
      reject(new Error(`OSC on ${host}:${port}: ${error.message}`));
    });
  });
}

type Where = { host: string; port: number } | null;

/** Listens for OSC where the prop file in use says, and keeps trying where it cannot. */
export class OscDoor {
  readonly #clock: Clock;
  readonly #log: Log;
  readonly #onAddress: (address: string) => void;
  readonly #onProblem: (problem: string | undefined) => void;
  #where: Where = null;
  #close: (() => Promise<void>) | undefined;
  /** One thing at a time: a port is free again only when it has been closed. */
  #last: Promise<void> = Promise.resolve();
  #cancelRetry = () => {};

  /** @param onProblem called with why nothing is heard, and with undefined when that is over */
  constructor(
    clock: Clock,
    log: Log,
    onAddress: (address: string) => void,
    onProblem: (problem: string | undefined) => void,
  ) {
    this.#clock = clock;
    this.#log = log;
    this.#onAddress = onAddress;
    this.#onProblem = onProblem;
  }

  /** Resolves when it listens there, or is known not to. */
  follow(where: Where): Promise<void> {
    if (where?.host === this.#where?.host && where?.port === this.#where?.port) return this.#last;
    this.#where = where;
    this.#cancelRetry();
    this.#last = this.#last.then(() => this.#change(where));
    return this.#last;
  }

  async #change(where: Where): Promise<void> {
    const close = this.#close;
    this.#close = undefined;
    await close?.();
    // Somebody may have asked for another place meanwhile; that comes next.
    if (where !== this.#where) return;
    if (where === null) return this.#onProblem(undefined);
    try {
      this.#close = await listenOsc(where, this.#clock, this.#log, this.#onAddress);
      this.#onProblem(undefined);
    } catch (error) {
      this.#log.warn({ err: error }, 'no OSC is heard');
      this.#onProblem(
        `no OSC is heard, so triggers by OSC do not work: ${(error as Error).message}; give another address or port under osc, or end the program that has it`,
      );
      this.#cancelRetry = this.#clock.after(OSC_RETRY_MS, () => {
        this.#last = this.#last.then(() => this.#change(where));
      });
    }
  }

  close(): Promise<void> {
    return this.follow(null);
  }
}
