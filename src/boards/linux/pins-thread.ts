import type { Driver, Frame, InputSpec, OutputSpec } from '../board.ts';
import { unpackError } from '../packed-error.ts';
import { LONGEST_STEP_MS, STUCK_MS, Stuck } from '../stuck.ts';
import { BoardThread, type PinsPlaces } from '../thread.ts';
import { ORDER, PinsMemory } from './pins-memory.ts';
import type { PinsCall, PinsReply } from './pins-server.ts';

/**
 * If levels are not read again for this long (ms) while the core goes on, the board has failed. On a busy
 * machine a thread that only waits for the processor can be late by more than two ticks (43 ms were
 * seen), and then the core is late too.
 */
const OLDEST_LEVELS_MS = 100;
/** After this process was suspended, levels are old; the thread gets this long (ms) to read them again. */
const GRACE_MS = 3;

/**
 * Pins whose calls may hang, in a thread of their own. Calls here do not wait for the thread: the newest
 * values win, and what goes wrong there is thrown by the next call. Only `open` and `close` wait; they
 * must not overlap.
 */
export class PinsThread implements Driver {
  readonly pulseStepUs = 1;
  /** In messages: `gpiochip0`. */
  readonly #name: string;
  readonly #board: unknown;
  readonly #places: PinsPlaces | undefined;
  readonly #file: URL | undefined;
  #thread: BoardThread<PinsCall, PinsReply> | undefined;
  #asked: { resolve: (reply: PinsReply) => void; reject: (cause: Error) => void } | undefined;
  #memory: PinsMemory | undefined;
  #count = 0;
  #inputs = 0;
  #stuck = new Stuck();
  #stale = new Stuck(OLDEST_LEVELS_MS);
  /** When a level was last asked for (ms). */
  #readMs = Number.POSITIVE_INFINITY;

  /**
   * @param board what the thread makes the pins of
   * @param places where the files are, if not in the kernel's usual places
   * @param file the thread's program
   */
  constructor(name: string, board: unknown, places?: PinsPlaces, file?: URL) {
    this.#name = name;
    this.#board = board;
    this.#places = places;
    this.#file = file;
  }

  /** @throws Refusal when a pin is not available, or cannot do what is needed */
  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    // An error here occurs again below.
    await this.close().catch(() => {});
    const memory = new PinsMemory(outputs.length);
    memory.put((values) => values.set(outputs.map(({ safe }) => safe)));
    const reply = await this.#ask(() =>
      this.#running().post({
        board: this.#board,
        outputs: outputs.map(({ name, kind, pin, safe }) => ({ name, kind, pin, safe })),
        inputs,
        memory: memory.buffer,
      }),
    );
    if (reply.t === 'refused') throw unpackError(reply.error);
    this.#memory = memory;
    this.#count = outputs.length;
    this.#inputs = inputs.length;
    this.#stuck = new Stuck();
    this.#stale = new Stuck(OLDEST_LEVELS_MS);
    this.#readMs = Number.POSITIVE_INFINITY;
  }

  write(frame: Frame, nowMs: number): void {
    const memory = this.#mustBeSound(nowMs);
    for (let i = 0; i < frame.count; i++)
      if (frame.output[i]! >= this.#count)
        throw new Error(`linux: there is no output ${frame.output[i]}`);
    memory.put((values) => {
      for (let i = 0; i < frame.count; i++) values[frame.output[i]!] = frame.value[i]!;
    });
  }

  check(nowMs: number): void {
    this.#mustBeSound(nowMs);
  }

  /** @throws Error also when the level is no longer known: a chip that hangs is not a released button */
  read(input: number): 0 | 1 {
    const memory = this.#mustLive();
    if (input >= this.#inputs) throw new Error(`linux: there is no input ${input}`);
    const nowMs = performance.now();
    if (nowMs - this.#readMs > LONGEST_STEP_MS) memory.awaitLevels(GRACE_MS);
    this.#readMs = nowMs;
    if (this.#stale.look(nowMs, true, memory.samples))
      throw new Error(
        `${this.#name}: its inputs could not be read for ${memory.levelsAgeMs} ms: the chip or its bus hangs; check its wires and supply`,
      );
    return memory.level(input);
  }

  /** Drives every output to its safe value as soon as the thread can; it then accepts no other values. */
  makeSafe(): void {
    this.#memory?.order(ORDER.safe);
  }

  /** @throws Error when an output could not be made safe; the others are safe even then */
  async close(): Promise<void> {
    const memory = this.#memory;
    if (!memory) return;
    this.#memory = undefined;
    if (this.#thread!.ended) throw this.#thread!.ended;
    const reply = await this.#ask(() => memory.order(ORDER.close));
    if (reply.t === 'closed' && reply.error) throw unpackError(reply.error);
  }

  #ask(begin: () => void): Promise<PinsReply> {
    return new Promise((resolve, reject) => {
      this.#asked = { resolve, reject };
      begin();
    });
  }

  /** The thread lives as long as the process: a new one would have to be loaded from the disk. */
  #running(): BoardThread<PinsCall, PinsReply> {
    if (this.#thread && !this.#thread.ended) return this.#thread;
    const work = { kind: 'pins', places: this.#places } as const;
    this.#thread = new BoardThread(work, this.#name, this.#file, {
      message: (reply) => this.#asked?.resolve(reply),
      ended: (cause) => this.#asked?.reject(cause),
    });
    return this.#thread;
  }

  #mustLive(): PinsMemory {
    const memory = this.#memory;
    if (!memory) throw new Error('linux: the board is not open');
    if (this.#thread?.ended) throw this.#thread.ended;
    const { failure } = memory;
    if (failure !== undefined) throw new Error(failure);
    return memory;
  }

  #mustBeSound(nowMs: number): PinsMemory {
    const memory = this.#mustLive();
    if (this.#stuck.look(nowMs, memory.behind, memory.passes))
      throw new Error(
        `${this.#name}: nothing got through for ${STUCK_MS} ms: the chip or its bus hangs; check its wires and supply`,
      );
    return memory;
  }
}
