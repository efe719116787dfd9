import { createSocket, type Socket } from 'node:dgram';
import { once } from 'node:events';
import { isDeepStrictEqual } from 'node:util';
import { E131_PASS_MS, E131_REPEAT_MS } from '../api/limits.ts';
import type { E131View } from '../service/protocol.ts';
import type { Clock } from '../shared/clock.ts';
import { isLoopback } from '../shared/loopback.ts';
import { Door } from './door.ts';
import { type DeskLevels, Universe } from './e131-levels.ts';
import type { Log } from './log.ts';

/** Passes on what the sources give: at once where it has changed, never more often than lights can follow. */
class Pass {
  readonly #clock: Clock;
  readonly #universe: Universe;
  readonly #hear: (now: DeskLevels) => void;
  #last: DeskLevels = { levels: {}, sources: [] };
  #passedMs = Number.NEGATIVE_INFINITY;
  #stop: (() => void) | undefined;

  constructor(clock: Clock, universe: Universe, hear: (now: DeskLevels) => void) {
    this.#clock = clock;
    this.#universe = universe;
    this.#hear = hear;
  }

  /** A packet has come in. */
  wake(): void {
    if (!this.#stop) this.#pass();
  }

  #pass(): void {
    const nowMs = this.#clock.nowMs();
    const now = this.#universe.merged(nowMs);
    const silent = now.sources.length === 0;
    if (!isDeepStrictEqual(now, this.#last) || nowMs - this.#passedMs >= E131_REPEAT_MS) {
      this.#hear(now);
      this.#last = now;
      this.#passedMs = nowMs;
    }
    this.#stop = silent ? undefined : this.#clock.after(E131_PASS_MS, () => this.#pass());
  }

  close(): void {
    this.#stop?.();
    if (this.#last.sources.length > 0) this.#hear({ levels: {}, sources: [] });
  }
}

/** Multicast group of a universe: ANSI E1.31, 239.255.(high byte).(low byte). */
function groupOf(universe: number): string {
  return `239.255.${universe >> 8}.${universe & 255}`;
}

/**
 * Listens for ANSI E1.31 over UDP: sent to the interface itself and, if others can reach that, to the
 * multicast group of the universe. Resolves with a way to close.
 * @throws Error when the port or the interface is not available
 */
export async function listenE131(
  where: E131View,
  clock: Clock,
  log: Log,
  hear: (now: DeskLevels) => void,
): Promise<() => Promise<void>> {
  const universe = new Universe(where);
  const pass = new Pass(clock, universe, hear);
  const sockets: Socket[] = [];
  const open = async (address: string, reuseAddr: boolean) => {
    const socket = createSocket({ type: 'udp4', reuseAddr });
    sockets.push(socket);
    socket.on('message', (bytes) => {
      if (universe.take(bytes, clock.nowMs())) pass.wake();
    });
    socket.bind(where.port, address);
    await once(socket, 'listening');
    socket.on('error', (error) => log.warn({ err: error }, 'a packet could not be received'));
    return socket;
  };
  const close = async () => {
    pass.close();
    await Promise.all(
      sockets.map((socket) => new Promise<void>((resolve) => socket.close(() => resolve()))),
    );
  };
  try {
    await open(where.host, false);
    if (!isLoopback(where.host)) {
      // Bound to the group, so that nothing comes in here but what was sent to it; several daemons may.
      const group = groupOf(where.universe);
      (await open(group, true)).addMembership(group, where.host);
    }
  } catch (error) {
    await close();
    throw new Error(`E1.31 on ${where.host}:${where.port}: ${(error as Error).message}`);
  }
  return close;
}

/** Listens for E1.31 where the prop file in use says. */
export class E131Door extends Door<E131View> {
  /** @param onProblem as `Door` */
  constructor(
    clock: Clock,
    log: Log,
    hear: (now: DeskLevels) => void,
    onProblem: (problem: string | undefined) => void,
  ) {
    const entrance = {
      open: (where: E131View) => listenE131(where, clock, log, hear),
      problem: (reason: string) =>
        `no E1.31 is heard, so a lighting desk leads nothing: ${reason}; give another interface or port under e131, or end the program that has it`,
    };
    super(clock, log, entrance, onProblem);
  }
}
