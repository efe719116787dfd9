import { isDeepStrictEqual } from 'node:util';
import type { Driver, Frame, InputSpec, OutputSpec, SenseSpec } from '../boards/board.ts';
import type { Clock } from '../shared/clock.ts';

/** A driver that takes longer to open than this hangs (ms). */
const OPEN_WITHIN_MS = 5000;
/** The same for closing (ms): systemd's stop timeout has room for one. */
const CLOSE_WITHIN_MS = 2000;

/** One board: collects what changes in a tick and hands it to the driver as one frame. */
export class Board {
  readonly name: string;
  driver!: Driver;
  readonly outputs: OutputSpec[] = [];
  readonly inputs: InputSpec[] = [];
  readonly senses: SenseSpec[] = [];
  /** Its driver has been asked to measure them. */
  measures = false;
  /** Why nothing is measured on it, where its driver does not tell it with the readings. */
  sensesFault: string | undefined;
  /** A driver that threw is not written to again until a reset has opened it again. */
  dead = false;
  /** Its driver is being closed or opened while the prop takes over another version of its file. */
  away = false;
  #frame: Frame = { count: 0, output: new Uint16Array(0), value: new Float64Array(0) };
  #written = new Float64Array(0);
  readonly #value = new Float64Array(1);

  /** Set before a channel is added. */
  constructor(name: string) {
    this.name = name;
  }

  /**
   * It has failed, and nobody can tell whether its outputs are safe: they may be as they were. Until
   * the driver knows that they are, whatever hangs on them counts as on.
   */
  get unknown(): boolean {
    return this.dead && this.driver.outputsAreSafe?.() !== true;
  }

  /** Adds an output while the prop is put together; returns its position. */
  addOutput(spec: OutputSpec): number {
    return this.outputs.push(spec) - 1;
  }

  addInput(spec: InputSpec): number {
    return this.inputs.push(spec) - 1;
  }

  addSense(spec: SenseSpec): number {
    return this.senses.push(spec) - 1;
  }

  /** Where nothing but measured is on it, the prop goes on as it would without it. @throws `error` elsewhere */
  #bear(error: Error): void {
    const { senses, outputs, inputs } = this;
    if (senses.length === 0 || outputs.length > 0 || inputs.length > 0) throw error;
    this.sensesFault = error.message;
  }

  /**
   * Claims the pins; every output is at its safe value afterwards. Nothing waits for what is measured.
   * @throws whatever the driver throws, and when it does not answer
   */
  async open(clock: Clock): Promise<void> {
    this.sensesFault = undefined;
    this.measures = false;
    try {
      await this.#inTime(clock, OPEN_WITHIN_MS, this.driver.open(this.outputs, this.inputs));
      this.#openSenses();
    } catch (error) {
      this.#bear(error as Error);
    }
    const count = this.outputs.length;
    this.#frame = { count: 0, output: new Uint16Array(count), value: new Float64Array(count) };
    this.#written = Float64Array.from(this.outputs, (output) => output.safe);
    this.dead = false;
  }

  #openSenses(): void {
    if (this.senses.length === 0) return;
    const fail = (error: Error) => {
      this.sensesFault = error.message;
    };
    const opening = this.driver.openSenses?.(this.senses);
    this.measures = opening !== undefined;
    if (opening) opening.catch(fail);
    else fail(new Error(`the driver of board ${this.name} measures nothing`));
  }

  /** Whether `other` has the same outputs, inputs and senses, so its open driver can serve this one. */
  isLike(other: Board): boolean {
    return (
      this.driver === other.driver &&
      isDeepStrictEqual(this.outputs, other.outputs) &&
      isDeepStrictEqual(this.inputs, other.inputs) &&
      isDeepStrictEqual(this.senses, other.senses)
    );
  }

  /** Continues with the open driver of a board like it. */
  takeOver(other: Board): void {
    this.#frame = other.#frame;
    this.#written = other.#written;
    this.dead = other.dead;
    this.measures = other.measures;
    this.sensesFault = other.sensesFault;
  }

  /** Frees the pins. @throws whatever the driver throws, and when it does not answer */
  async close(clock: Clock): Promise<void> {
    try {
      await this.#inTime(clock, CLOSE_WITHIN_MS, this.driver.close());
    } catch (error) {
      this.#bear(error as Error);
    }
  }

  async #inTime(clock: Clock, limitMs: number, work: Promise<void>): Promise<void> {
    let cancel = () => {};
    const late = new Promise<never>((_, reject) => {
      cancel = clock.after(limitMs, () =>
        reject(
          new Error(`the driver of board ${this.name} does not answer within ${limitMs / 1000} s`),
        ),
      );
    });
    try {
      await Promise.race([work, late]);
    } finally {
      cancel();
    }
  }

  /** Notes the value of an output for this tick; at most once per output and tick. */
  put(output: number, value: number): void {
    this.#value[0] = value;
    this.putAt(output, this.#value, 0);
  }

  /** As `put`, of the value at a place: passed by itself, a fraction may be allocated. */
  putAt(output: number, values: Float64Array, at: number): void {
    const value = values[at]!;
    if (this.#written[output] === value) return;
    this.#written[output] = value;
    const frame = this.#frame;
    frame.output[frame.count] = output;
    frame.value[frame.count] = value;
    frame.count++;
  }

  /** Writes what has changed. @throws whatever the driver throws */
  flush(nowMs: number): void {
    const frame = this.#frame;
    try {
      if (this.dead || this.away) return;
      if (frame.count > 0) this.driver.write(frame, nowMs);
      else this.driver.check?.(nowMs);
    } catch (error) {
      this.#bear(error as Error);
    } finally {
      frame.count = 0;
    }
  }
}
