import { Server } from 'node-osc';
import { OSC_BURST, OSC_PER_S, OSC_PERFORM_MS } from '../api/limits.ts';
import { Bucket } from '../shared/bucket.ts';
import type { Clock } from '../shared/clock.ts';
import { Door } from './door.ts';
import type { Log } from './log.ts';

/** The newest values of addresses that lead servos; null where there was not just one number. */
export type OscValues = Record<string, number | null>;

/** Who hears OSC messages. */
export interface OscEars {
  /** A message for a trigger. */
  trigger(address: string): void;
  /** Whether an address leads a servo. */
  performs(address: string): boolean;
  perform(values: OscValues): void;
}

/** Passes values on, no more often than servos get pulses: of each address the newest. */
class Stream {
  readonly #clock: Clock;
  readonly #perform: (values: OscValues) => void;
  #values: OscValues = {};
  #waits: (() => void) | undefined;

  constructor(clock: Clock, perform: (values: OscValues) => void) {
    this.#clock = clock;
    this.#perform = perform;
  }

  take(address: string, value: number | null): void {
    this.#values[address] = value;
    if (!this.#waits) this.#pass();
  }

  #pass(): void {
    const values = this.#values;
    this.#waits = undefined;
    if (Object.keys(values).length === 0) return;
    this.#values = {};
    this.#perform(values);
    this.#waits = this.#clock.after(OSC_PERFORM_MS, () => this.#pass());
  }

  close(): void {
    this.#waits?.();
    this.#values = {};
  }
}

function numberOf(args: readonly unknown[]): number | null {
  const [value] = args;
  return args.length === 1 && typeof value === 'number' && Number.isFinite(value) ? value : null;
}

/**
 * Listens for OSC 1.0 messages over UDP (opensoundcontrol.org, OSC 1.0 specification) and passes them on:
 * addresses of triggers no faster than a trigger can use them, and values that lead servos no faster than
 * servos can. Resolves with a way to close.
 * @throws Error when the port is not available
 */
export function listenOsc(
  { host, port }: { host: string; port: number },
  clock: Clock,
  log: Log,
  ears: OscEars,
): Promise<() => Promise<void>> {
  const bucket = new Bucket(OSC_PER_S, OSC_BURST, clock.nowMs());
  const stream = new Stream(clock, (values) => ears.perform(values));
  return new Promise((resolve, reject) => {
    const server = new Server(port, host);
    const close = async () => {
      stream.close();
      await server.close();
    };
    server.on('listening', () => resolve(close));
    server.on('message', ([name, ...args]) => {
      const address = String(name).slice(0, 200);
      if (ears.performs(address)) stream.take(address, numberOf(args));
      else if (bucket.take(1, clock.nowMs())) ears.trigger(address);
    });
    server.on('error', (error) => {
      log.warn({ err: error }, 'an OSC message could not be read');
      reject(new Error(`OSC on ${host}:${port}: ${error.message}`));
    });
  });
}

/** Listens for OSC where the prop file in use says. */
export class OscDoor extends Door<{ host: string; port: number }> {
  /** @param onProblem as `Door` */
  constructor(
    clock: Clock,
    log: Log,
    ears: OscEars,
    onProblem: (problem: string | undefined) => void,
  ) {
    const entrance = {
      open: (where: { host: string; port: number }) => listenOsc(where, clock, log, ears),
      problem: (reason: string) =>
        `no OSC is heard, so triggers by OSC do not work: ${reason}; give another address or port under osc, or end the program that has it`,
    };
    super(clock, log, entrance, onProblem);
  }

  /** Where OSC comes in is its address and port alone: what it leads may change meanwhile. */
  override follow(where: { host: string; port: number } | null): Promise<void> {
    return super.follow(where && { host: where.host, port: where.port });
  }
}
