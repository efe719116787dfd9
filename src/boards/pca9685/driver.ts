import { setTimeout as sleep } from 'node:timers/promises';
import { Refusal } from '../../shared/errors.ts';
import type { Driver, Frame, InputSpec, OutputSpec } from '../board.ts';
import { type I2cBus, i2cErrorText, openI2c } from '../i2c.ts';
import { chipAt } from '../on-i2c.ts';
import { STUCK_MS, Stuck } from '../stuck.ts';
import type { Pca9685Board } from './facts.ts';
import { COUNTS, isPulse, preScaleOf, rateProblem, stepsOf, stepUsOf } from './rate.ts';
import {
  BYTES_PER_OUTPUT,
  encode,
  FULL,
  MODE1,
  MODE2_FLOAT,
  MODE2_OUTDRV,
  OSCILLATOR_START_US,
  OUTPUTS,
  REGISTER,
} from './registers.ts';

/** Attempts for a transfer before the board counts as failed. */
const ATTEMPTS = 3;
/** Time between attempts to make the outputs of a failed board safe (ms). */
const SAFE_EVERY_MS = 100;
/** Time between checks that the chip still has its settings (ms). */
const PROBE_EVERY_MS = 250;
/** Most bytes of an SMBus block (SMBus 2.0, 5.5.7). */
const SMBUS_BLOCK_BYTES = 32;
const ALL_BYTES = OUTPUTS * BYTES_PER_OUTPUT;

interface Pca9685Surroundings {
  openBus: (bus: number) => Promise<I2cBus>;
  wait: (ms: number) => Promise<unknown>;
}

/**
 * The 16 outputs of one PCA9685 on an I2C bus. A block of 64 bytes takes 1.5 ms at 400 kHz and 6 ms, more
 * than a tick, at 100 kHz, so `write` only stores the values: the bus's own thread sends them, one
 * transfer at a time, each with the newest values of all outputs that have changed. What goes wrong there
 * is thrown by the next `write` or `check`. The driver then tries to make the outputs safe until it
 * succeeds, or the board is closed or opened again.
 *
 * When the bus fails, the chip keeps its outputs as they are. A software reset is never used: it is a
 * general call, which other chips would obey too.
 */
export class Pca9685Driver implements Driver {
  readonly pulseStepUs: number;
  readonly #board: Pca9685Board;
  readonly #preScale: number;
  readonly #around: Pca9685Surroundings;
  #bus: I2cBus | undefined;
  /** The adapter has only SMBus: blocks are short. */
  #smbusOnly = false;
  #outputs: readonly OutputSpec[] = [];
  /** The registers of all outputs: the wanted values, and the safe ones. */
  readonly #image = Buffer.alloc(ALL_BYTES);
  readonly #safeImage = Buffer.alloc(ALL_BYTES);
  readonly #next = Buffer.alloc(BYTES_PER_OUTPUT);
  /** Outputs from `#low` up to, but not including, `#high` must still be sent. */
  #low = OUTPUTS;
  #high = 0;
  #sending: Promise<void> | undefined;
  #closing = false;
  #failure: Error | undefined;
  /** It has failed, and since then every output has its safe value. */
  #isSafe = false;
  /** It has been open, so its outputs may have any value. */
  #wasOpen = false;
  /** Ends the wait for the next attempt to make the outputs safe. */
  #endPause = () => {};
  /** Number of transfers that have succeeded, to detect a bus that is stuck. */
  #done = 0;
  #stuck = new Stuck();
  #probedMs = Number.NEGATIVE_INFINITY;
  #probeDue = false;

  /** @throws Refusal when the chip cannot make the frequency */
  constructor(
    board: Pca9685Board,
    around: Pca9685Surroundings = { openBus: (bus) => openI2c(bus), wait: sleep },
  ) {
    this.#board = board;
    this.#around = around;
    const trouble = rateProblem(board);
    if (trouble) {
      const { frequencyHz, oscillatorHz } = board;
      throw new Refusal('driver.setting', trouble.join('; '), { frequencyHz, oscillatorHz });
    }
    this.#preScale = preScaleOf(board);
    this.pulseStepUs = stepUsOf(board);
  }

  /** @throws Refusal when a pin does not exist or the chip does not answer */
  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    const [input] = inputs;
    if (input)
      throw new Refusal(
        'driver.no-pin',
        `${input.name}: a pca9685 has no inputs; wire it to a pin of the header`,
      );
    for (const { name, pin } of outputs)
      if (pin >= OUTPUTS)
        throw new Refusal(
          'driver.no-pin',
          `${name}: a pca9685 has no output ${pin}; use 0 to ${OUTPUTS - 1}`,
        );
    await this.#release();
    this.#outputs = outputs;
    for (let pin = 0; pin < OUTPUTS; pin++) encode(0, this.#safeImage, pin);
    for (const output of outputs)
      encode(this.#countsOf(output, output.safe), this.#safeImage, output.pin);
    this.#safeImage.copy(this.#image);
    this.#clean();
    this.#failure = undefined;
    this.#isSafe = false;
    this.#stuck = new Stuck();
    this.#probeDue = false;
    this.#probedMs = Number.NEGATIVE_INFINITY;
    try {
      this.#bus = await this.#around.openBus(this.#board.bus);
      this.#smbusOnly = !(await this.#bus.i2cFuncs()).i2c;
      await this.#start();
      this.#wasOpen = true;
    } catch (error) {
      await this.#closeBus();
      this.#goOnUntilSafe();
      if (error instanceof Refusal) throw error;
      throw new Refusal('driver.no-chip', this.#explain(error));
    }
  }

  /** @throws Error when the bus has failed since the last call */
  write(frame: Frame, nowMs: number): void {
    this.#mustBeSound(nowMs);
    for (let i = 0; i < frame.count; i++) {
      const output = this.#outputs[frame.output[i]!];
      if (!output) throw new Error(`pca9685: there is no output ${frame.output[i]}`);
      encode(this.#countsOf(output, frame.value[i]!), this.#next, 0);
      const at = output.pin * BYTES_PER_OUTPUT;
      if (this.#next.compare(this.#image, at, at + BYTES_PER_OUTPUT) === 0) continue;
      this.#next.copy(this.#image, at);
      this.#mark(output.pin, output.pin + 1);
    }
    this.#send();
  }

  /** @throws Error when the bus has failed since the last call, or the chip has been reset */
  check(nowMs: number): void {
    this.#mustBeSound(nowMs);
    this.#send();
  }

  read(): 0 | 1 {
    throw new Error('pca9685: it has no inputs');
  }

  /** @throws Error when the outputs could not be made safe; they are then unchanged */
  async close(): Promise<void> {
    await this.#release((bus) => this.#retry(() => this.#makeSafe(bus)));
    this.#wasOpen = false;
  }

  outputsAreSafe(): boolean {
    return this.#isSafe;
  }

  retrySafe(): void {
    this.#endPause();
  }

  // --- the chip -----------------------------------------------------------------------------------

  /**
   * Starts the chip from any state: outputs safe, then PRE_SCALE, which only a sleeping chip accepts
   * (7.3.5), then awake (7.3.1.1). ALLCALL stays 0, because another chip may have the all-call address.
   */
  async #start(): Promise<void> {
    const bus = this.#mustBeOpen();
    const { wait } = this.#around;
    const before = await this.#retry(() => this.#get(bus, REGISTER.mode1));
    await this.#retry(async () => {
      await this.#set(bus, REGISTER.mode1, MODE1.autoIncrement | (before & MODE1.sleep));
      await this.#set(bus, REGISTER.mode2, this.#mode2);
      await this.#setOutputs(bus, this.#safeImage, 0, OUTPUTS);
      await this.#set(bus, REGISTER.mode1, MODE1.autoIncrement | MODE1.sleep);
      await this.#set(bus, REGISTER.preScale, this.#preScale);
      await this.#set(bus, REGISTER.mode1, MODE1.autoIncrement);
      await wait(Math.ceil((2 * OSCILLATOR_START_US) / 1000));
      // Set if PWM was running when the chip went to sleep.
      if ((await this.#get(bus, REGISTER.mode1)) & MODE1.restart)
        await this.#set(bus, REGISTER.mode1, MODE1.autoIncrement | MODE1.restart);
      // If the chip slept with all outputs off, their registers are invalid.
      await this.#setOutputs(bus, this.#safeImage, 0, OUTPUTS);
    });
    const got = await this.#retry(() => this.#get(bus, REGISTER.preScale));
    if (got !== this.#preScale)
      throw new Refusal(
        'driver.no-chip',
        `${chipAt(this.#board)} does not keep what it is told (PRE_SCALE ${got} instead of ${this.#preScale}): is it a PCA9685? If so, check SDA, SCL and the pull-up resistors`,
      );
  }

  /** Works in any state of the chip, even after a reset by a dip of the supply. */
  async #makeSafe(bus: I2cBus): Promise<void> {
    // Full off for all in one byte (7.3.4); if off is not safe for one of them, the whole image.
    if (this.#outputs.every((output) => output.safe === 0)) {
      await this.#set(bus, REGISTER.allLedOffHigh, FULL);
      return;
    }
    await this.#set(bus, REGISTER.mode1, MODE1.autoIncrement);
    await this.#set(bus, REGISTER.mode2, this.#mode2);
    await this.#setOutputs(bus, this.#safeImage, 0, OUTPUTS);
  }

  /**
   * Outputs that the output-enable pin disables are low. If one of them is not safe when low, they all
   * float instead, and a resistor must pull that one up.
   */
  get #mode2(): number {
    const floats = this.#board.enable && this.#outputs.some((output) => output.safe !== 0);
    return floats ? MODE2_OUTDRV | MODE2_FLOAT : MODE2_OUTDRV;
  }

  async #probe(bus: I2cBus): Promise<void> {
    const mode1 = await this.#get(bus, REGISTER.mode1);
    if ((mode1 & (MODE1.autoIncrement | MODE1.sleep)) !== MODE1.autoIncrement)
      throw new ResetError(
        `${chipAt(this.#board)} has lost its settings, as after a dip of its supply: check the supply and its wires`,
      );
  }

  async #get(bus: I2cBus, register: number): Promise<number> {
    return bus.readByte(this.#board.address, register);
  }

  async #set(bus: I2cBus, register: number, byte: number): Promise<void> {
    await bus.writeByte(this.#board.address, register, byte);
  }

  /** Writes the registers of outputs `from` up to, but not including, `to`. */
  async #setOutputs(bus: I2cBus, image: Buffer, from: number, to: number): Promise<void> {
    const { address } = this.#board;
    const end = to * BYTES_PER_OUTPUT;
    let at = from * BYTES_PER_OUTPUT;
    if (!this.#smbusOnly) {
      const bytes = Buffer.from([REGISTER.led0 + at, ...image.subarray(at, end)]);
      const { bytesWritten } = await bus.i2cWrite(address, bytes.length, bytes);
      if (bytesWritten !== bytes.length)
        throw new Error(`only ${bytesWritten} of ${bytes.length} bytes went out`);
      return;
    }
    // Copied: bytes must not change while they are sent.
    const bytes = Buffer.from(image);
    for (; at < end; at += SMBUS_BLOCK_BYTES) {
      const part = bytes.subarray(at, Math.min(at + SMBUS_BLOCK_BYTES, end));
      await bus.writeI2cBlock(address, REGISTER.led0 + at, part.length, part);
    }
  }

  #countsOf(output: OutputSpec, value: number): number {
    if (output.kind === 'level') return value === 0 ? 0 : COUNTS;
    if (output.kind === 'duty') return Math.round(value * COUNTS);
    if (value === 0) return 0;
    const counts = stepsOf(value, this.pulseStepUs);
    if (!isPulse(counts))
      throw new Error(
        `${output.name}: a pulse of ${value} us does not fit in a period of ${COUNTS * this.pulseStepUs} us`,
      );
    return counts;
  }

  // --- sending in the background ------------------------------------------------------------------

  #mustBeSound(nowMs: number): void {
    this.#mustBeOpen();
    if (this.#stuck.look(nowMs, this.#sending !== undefined, this.#done))
      this.#failure ??= new Error(
        `${chipAt(this.#board)}: nothing got through for ${STUCK_MS} ms: check SDA, SCL and the speed of the bus`,
      );
    if (this.#failure) throw this.#failure;
    if (nowMs - this.#probedMs >= PROBE_EVERY_MS) {
      this.#probedMs = nowMs;
      this.#probeDue = true;
    }
  }

  #send(): void {
    if (this.#sending || !(this.#probeDue || this.#low < this.#high)) return;
    this.#sending = this.#run().finally(() => {
      this.#sending = undefined;
    });
  }

  /** Sends until nothing is left. Never rejects. */
  async #run(): Promise<void> {
    const bus = this.#mustBeOpen();
    let attempts = 0;
    while (!this.#failure && !this.#closing && (this.#probeDue || this.#low < this.#high)) {
      const [low, high, probing] = [this.#low, this.#high, this.#probeDue];
      this.#probeDue = false;
      if (!probing) this.#clean();
      try {
        if (probing) await this.#probe(bus);
        else await this.#setOutputs(bus, this.#image, low, high);
        attempts = 0;
        this.#done++;
      } catch (error) {
        if (probing) this.#probeDue = true;
        else this.#mark(low, high);
        if (++attempts === ATTEMPTS)
          this.#failure ??= error instanceof ResetError ? error : new Error(this.#explain(error));
      }
    }
    // The core now treats the board as failed, and its outputs as unknown until they are safe.
    if (this.#failure) await this.#untilSafe();
  }

  #goOnUntilSafe(): void {
    if (!this.#wasOpen || this.#sending) return;
    this.#sending = this.#untilSafe().finally(() => {
      this.#sending = undefined;
    });
  }

  /** Tries to make the outputs safe until it succeeds. Never rejects. */
  async #untilSafe(): Promise<void> {
    while (!this.#closing) {
      try {
        this.#bus ??= await this.#around.openBus(this.#board.bus);
        await this.#makeSafe(this.#bus);
        this.#isSafe = true;
        return;
      } catch {
        await this.#pause();
      }
    }
  }

  #pause(): Promise<void> {
    if (this.#closing) return Promise.resolve();
    return new Promise((resolve) => {
      const timer = setTimeout(resolve, SAFE_EVERY_MS);
      timer.unref();
      this.#endPause = () => {
        clearTimeout(timer);
        resolve();
      };
    });
  }

  #mark(low: number, high: number): void {
    this.#low = Math.min(this.#low, low);
    this.#high = Math.max(this.#high, high);
  }

  #clean(): void {
    this.#low = OUTPUTS;
    this.#high = 0;
  }

  /** Does it, with up to `ATTEMPTS` attempts. */
  async #retry<T>(act: () => Promise<T>): Promise<T> {
    for (let attempt = 1; ; attempt++) {
      try {
        return await act();
      } catch (error) {
        if (attempt === ATTEMPTS) throw error;
      }
    }
  }

  // --- opening and closing ------------------------------------------------------------------------

  #mustBeOpen(): I2cBus {
    if (!this.#bus) throw new Error('pca9685: the board is not open');
    return this.#bus;
  }

  /** Waits for the running transfer, so that nothing follows `last`; then closes the bus. */
  async #release(last?: (bus: I2cBus) => Promise<void>): Promise<void> {
    if (!this.#bus && !this.#sending) return;
    this.#closing = true;
    this.#endPause();
    try {
      await this.#sending;
      if (this.#bus) await last?.(this.#bus);
    } catch (error) {
      throw new Error(this.#explain(error));
    } finally {
      this.#closing = false;
      await this.#closeBus();
    }
  }

  async #closeBus(): Promise<void> {
    const bus = this.#bus;
    this.#bus = undefined;
    // A descriptor that cannot be closed does no harm.
    await bus?.close().catch(() => {});
  }

  #explain(error: unknown): string {
    return i2cErrorText(error, this.#board.bus, this.#board.address);
  }
}

/** The chip answers, but has been reset. */
class ResetError extends Error {}

/** The driver of a PCA9685, not yet open. @throws Refusal when the chip cannot make the frequency */
export function create(board: Pca9685Board): Driver {
  return new Pca9685Driver(board);
}
