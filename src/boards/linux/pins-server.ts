import type { Driver, Frame, InputSpec, OutputSpec } from '../board.ts';
import { type PackedError, packError } from '../packed-error.ts';
import { ORDER, PinsMemory, sharedNowMs, sharedNowUs } from './pins-memory.ts';

/**
 * What these pins need to know about an output; the rest is for other drivers, and cannot be sent to a
 * thread.
 */
export type PlainOutput = Pick<OutputSpec, 'name' | 'kind' | 'pin' | 'safe'>;

/** The only call; later orders go through the shared memory. */
export interface PinsCall<Board = unknown> {
  board: Board;
  outputs: readonly PlainOutput[];
  inputs: readonly InputSpec[];
  memory: SharedArrayBuffer;
}

export type PinsReply =
  | { t: 'open' }
  | { t: 'refused'; error: PackedError }
  | { t: 'closed'; error?: PackedError };

/** Pins whose calls may hang. */
export interface Pins extends Omit<Driver, 'open'> {
  open(outputs: readonly PlainOutput[], inputs: readonly InputSpec[]): Promise<void>;
  /** Reads all inputs, one bit each. */
  levels(into: Int32Array): void;
  /** Drives every output to its safe value, as far as that can be done. */
  makeSafe(): void;
}

/**
 * Inputs are read once a tick (us), shortly before the core asks, and early enough that the thread may
 * wake late. The kernel's edge events are not used: a chip behind a bus may not have them, and a lost
 * edge would be a stop button that nobody sees.
 */
const SAMPLE_EVERY_US = 5000;
const SAMPLE_AHEAD_US = 2000;
/** A sample this soon (us) after another is not worth it. */
const SAMPLE_APART_US = 1000;

/** A sleep may end this early (us). */
const SOON_US = 100;

/** How long to wait for the next sample (us), when the core asked last `sinceUs` ago. */
export function nextSampleUs(sinceUs: number): number {
  // Nobody has asked, at least not recently.
  if (sinceUs < 0 || sinceUs > 100 * SAMPLE_EVERY_US) return SAMPLE_EVERY_US;
  const waitUs = SAMPLE_EVERY_US - SAMPLE_AHEAD_US - (sinceUs % SAMPLE_EVERY_US);
  return waitUs < SAMPLE_APART_US ? waitUs + SAMPLE_EVERY_US : waitUs;
}

/** The thread's side of the pins. */
export class PinsServer {
  readonly #make: (board: never) => Pins;

  constructor(make: (board: never) => Pins) {
    this.#make = make;
  }

  /** Opens pins and writes and reads them until it is ordered to close them. */
  async serve(call: PinsCall, reply: (reply: PinsReply) => void): Promise<void> {
    const pins = this.#make(call.board as never);
    try {
      await pins.open(call.outputs, call.inputs);
    } catch (error) {
      reply({ t: 'refused', error: packError(error) });
      return;
    }
    const worker = new Pass(pins, call);
    try {
      // Levels must be there before anybody asks.
      worker.sample();
    } catch (error) {
      worker.fail(error);
    }
    reply({ t: 'open' });
    worker.run();
    try {
      await pins.close();
      reply({ t: 'closed' });
    } catch (error) {
      reply({ t: 'closed', error: packError(error) });
    }
  }
}

class Pass {
  readonly #pins: Pins;
  readonly #memory: PinsMemory;
  readonly #inputs: number;
  readonly #levels = new Int32Array(2);
  readonly #wanted: Float64Array;
  readonly #written: Float64Array;
  readonly #frame: Frame;
  #nextUs = sharedNowUs();
  #failed = false;

  constructor(pins: Pins, { outputs, inputs, memory }: PinsCall) {
    const count = outputs.length;
    this.#pins = pins;
    this.#memory = new PinsMemory(count, memory);
    this.#inputs = inputs.length;
    this.#wanted = new Float64Array(count);
    this.#written = Float64Array.from(outputs, ({ safe }) => safe);
    this.#frame = { count: 0, output: new Uint16Array(count), value: new Float64Array(count) };
  }

  run(): void {
    for (;;) {
      const frame = this.#memory.take(this.#wanted);
      const order = this.#memory.ordered;
      if (order === ORDER.close) return;
      if (order === ORDER.safe && !this.#failed) {
        this.#pins.makeSafe();
        this.fail(new Error('it was made safe with the rest of its board'));
      }
      if (!this.#failed) this.#try(() => this.#write());
      const sampleUs =
        this.#failed || this.#inputs === 0 ? Number.POSITIVE_INFINITY : this.#dueUs();
      this.#memory.applied(frame);
      this.#memory.sleep(frame, sampleUs / 1000);
    }
  }

  /** Samples if it is time; returns the time until the next (us). */
  #dueUs(): number {
    const nowUs = sharedNowUs();
    const leftUs = (this.#nextUs - nowUs) | 0;
    if (leftUs > SOON_US) return leftUs;
    this.#try(() => this.sample());
    const waitUs = nextSampleUs((nowUs - this.#memory.askedUs) | 0);
    this.#nextUs = (nowUs + waitUs) | 0;
    return waitUs;
  }

  sample(): void {
    if (this.#inputs === 0) return;
    // Taken before the levels are read, so that they are never older than this.
    const atMs = sharedNowMs();
    this.#pins.levels(this.#levels);
    this.#memory.sampled(this.#levels, atMs);
  }

  fail(error: unknown): void {
    this.#failed = true;
    this.#memory.fail((error as Error).message);
  }

  #try(act: () => void): void {
    try {
      act();
    } catch (error) {
      this.fail(error);
    }
  }

  /** Writes the values that differ from those on the pins. */
  #write(): void {
    const frame = this.#frame;
    frame.count = 0;
    for (const [output, value] of this.#wanted.entries()) {
      if (value === this.#written[output]) continue;
      this.#written[output] = value;
      frame.output[frame.count] = output;
      frame.value[frame.count] = value;
      frame.count++;
    }
    if (frame.count > 0) this.#pins.write(frame, sharedNowMs());
  }
}
