import { createRequire } from 'node:module';
import { constants } from 'node:os';
import { setTimeout as wait } from 'node:timers/promises';
import { Refusal } from '../../shared/errors.ts';
import type { Driver, Frame, InputSpec, OutputSpec } from '../board.ts';
import { type PigpioBoard, PWM_STEPS, pwmFrequencyHz, SERVO_HZ, SERVO_US } from './facts.ts';

/** One GPIO of the npm package `pigpio`: the part that is used here. */
export interface PigpioGpio {
  mode(mode: number): void;
  pullUpDown(pull: number): void;
  digitalRead(): number;
  digitalWrite(level: number): void;
  servoWrite(pulseUs: number): void;
  pwmFrequency(hz: number): void;
  pwmRange(range: number): void;
  getPwmRealRange(): number;
  pwmWrite(duty: number): void;
}

/** The npm package `pigpio`: the part that is used here. The package and its types may be absent. */
export interface Pigpio {
  readonly Gpio: new (pin: number) => PigpioGpio;
  readonly CLOCK_PCM: number;
  readonly DISABLE_FIFO_IF: number;
  readonly DISABLE_SOCK_IF: number;
  readonly DISABLE_ALERT: number;
  hardwareRevision(): number;
  configureClock(sampleUs: number, peripheral: number): void;
  configureInterfaces(flags: number): void;
  initialize(): void;
  terminate(): void;
  /** Microseconds since the machine started, modulo 2^32. */
  getTick(): number;
}

/** The time from one servo pulse to the next, plus a margin of a quarter (no source). */
const SERVO_PERIOD_MS = 1.25 * (1000 / SERVO_HZ);

const MODE = { input: 0, output: 1 } as const;
const PULL = { off: 0, down: 1, up: 2 } as const;

/**
 * A changed input counts only after this long (us): anything shorter is a spike from a motor beside the
 * wire (common practice, no source). The library's own glitch filter does not help: it acts on alerts,
 * not on gpioRead.
 */
const STEADY_US = 50;

/**
 * The processor of a board, from its revision code: 0 to 3 are those that the library supports, BCM2835
 * to BCM2711. Undefined for old-style codes, which do not name one. Source: the board maker's table of
 * revision codes: bit 23 new style, bits 12 to 15 processor (from memory).
 */
export function processorOf(revision: number): number | undefined {
  return (revision >>> 23) & 1 ? (revision >>> 12) & 0xf : undefined;
}
const NEWEST_PROCESSOR = 3;

/** By default these do nothing (POSIX.1-2017, signal.h), but the library would end the process at them. */
const HARMLESS: readonly NodeJS.Signals[] = ['SIGCHLD', 'SIGCONT', 'SIGURG'];

/** The C library exists only once in a process; all open drivers share it. */
let shared: { pigpio: Pigpio; sampleUs: number } | undefined;
const users = new Set<PigpioDriver>();

/**
 * A board's own GPIO header, through the pigpio C library: pulses and PWM timed by DMA. Sources: the
 * library's C interface, abyz.me.uk/rpi/pigpio/cif.html, and BCM2835 ARM Peripherals, chapter 6 (both
 * from memory).
 *
 * `write` and `read` run in the core's thread: they only access registers and the DMA's memory, without
 * entering the kernel or waiting, so a relay opens within its tick. Only the start and the end of the
 * library take time, part of a second: it starts with the first `open` and ends with the last `close`,
 * when nothing moves. It cannot have a thread of its own, as it exists only once in a process and takes
 * over the process's signals (from memory).
 */
export class PigpioDriver implements Driver {
  /** The DMA can place an edge only at a sample, so a pulse is a whole number of samples (us). */
  readonly pulseStepUs: number;
  readonly #load: () => Pigpio;
  #outputs: readonly OutputSpec[] = [];
  /** By output; the claimed ones. */
  #out: PigpioGpio[] = [];
  /** By input. */
  #in: PigpioGpio[] = [];
  /** By input: the accepted level. */
  #level: (0 | 1)[] = [];
  #pigpio: Pigpio | undefined;
  #closing: Promise<void> | undefined;

  /**
   * @param sampleUs sample period of the DMA (us): 1, 2, 4, 5, 8 or 10.
   * @param load loads the npm package.
   */
  constructor(sampleUs: number, load: () => Pigpio = loadPigpio) {
    this.pulseStepUs = sampleUs;
    this.#load = load;
  }

  /**
   * May be called while open, to open the board again: every output is safe afterwards.
   * @throws Refusal when a pulse envelope is wider than the library's, when the package or the library
   * cannot run on this machine, or when another board of the prop has a different sample period
   */
  async open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void> {
    await this.#closing?.catch(() => {});
    for (const output of outputs) checkEnvelope(output);
    const pigpio = hold(this, this.pulseStepUs, this.#load);
    this.#outputs = outputs;
    this.#out = [];
    this.#in = [];
    try {
      for (const output of outputs) this.#out.push(claim(pigpio, output, this.pulseStepUs));
      for (const { pin, pull } of inputs) {
        const gpio = new pigpio.Gpio(pin);
        gpio.mode(MODE.input);
        gpio.pullUpDown(PULL[pull]);
        this.#in.push(gpio);
      }
      this.#level = this.#in.map((gpio) => gpio.digitalRead() as 0 | 1);
    } catch (error) {
      this.#pigpio = undefined;
      this.makeSafe();
      letGo(this);
      throw error;
    }
    this.#pigpio = pigpio;
  }

  /** @throws Error that names the output; every output of the board is then safe */
  write(frame: Frame): void {
    if (!this.#pigpio) throw new Error('pigpio: the board is not open');
    for (let i = 0; i < frame.count; i++) {
      const output = this.#outputs[frame.output[i]!]!;
      const gpio = this.#out[frame.output[i]!]!;
      const value = frame.value[i]!;
      try {
        if (output.kind === 'pulse') gpio.servoWrite(value);
        else if (output.kind === 'level') gpio.digitalWrite(value);
        else gpio.pwmWrite(Math.round(value * PWM_STEPS));
      } catch (error) {
        // Nothing more is written to a failed board: this is the last chance to release a relay.
        this.makeSafe();
        throw failed(output, error);
      }
    }
  }

  /** Takes up to 50 us when the level has changed, otherwise one register read. */
  read(input: number): 0 | 1 {
    const pigpio = this.#pigpio;
    if (!pigpio) throw new Error('pigpio: the board is not open');
    const gpio = this.#in[input];
    if (!gpio) throw new Error(`pigpio: there is no input ${input}`);
    const before = this.#level[input]!;
    const level = gpio.digitalRead() as 0 | 1;
    if (level === before) return level;
    const sinceUs = pigpio.getTick();
    // Unsigned, so that the difference is right when the tick wraps around.
    while ((pigpio.getTick() - sinceUs) >>> 0 < STEADY_US)
      if (gpio.digitalRead() !== level) return before;
    this.#level[input] = level;
    return level;
  }

  /**
   * The last driver that uses the library ends it. The pins stay outputs at their safe levels: as inputs
   * they would leave a relay's level to chance.
   */
  close(): Promise<void> {
    if (this.#pigpio) {
      this.#pigpio = undefined;
      this.#closing = this.#end().finally(() => {
        this.#closing = undefined;
      });
    }
    return this.#closing ?? Promise.resolve();
  }

  async #end(): Promise<void> {
    const first = this.#stop((gpio, { kind, safe }) =>
      kind === 'pulse' ? gpio.servoWrite(0) : gpio.digitalWrite(safe),
    );
    // A servo may follow a pulse that is cut short, so wait for the end of the last one.
    if (this.#outputs.some(({ kind }) => kind === 'pulse')) await wait(SERVO_PERIOD_MS);
    const second = this.makeSafe();
    const failure = first ?? second;
    letGo(this);
    if (failure) throw failure;
  }

  /**
   * Drives every claimed output to its safe level at once, even if some fail; a level ends pulses and PWM
   * as well.
   * @returns the first failure
   */
  makeSafe(): Error | undefined {
    return this.#stop((gpio, { safe }) => gpio.digitalWrite(safe));
  }

  /** Relays come first. */
  #stop(act: (gpio: PigpioGpio, output: OutputSpec) => void): Error | undefined {
    let failure: Error | undefined;
    for (const kind of ['level', 'pulse', 'duty'])
      for (const [i, gpio] of this.#out.entries()) {
        const output = this.#outputs[i]!;
        if (output.kind !== kind) continue;
        try {
          act(gpio, output);
        } catch (error) {
          failure ??= failed(output, error);
        }
      }
    return failure;
  }
}

function failed({ name, pin }: OutputSpec, error: unknown): Error {
  return new Error(`pigpio: ${name} at GPIO ${pin}: ${(error as Error).message}`);
}

function checkEnvelope({ name, plant }: OutputSpec): void {
  if (plant?.kind !== 'servo') return;
  const [low, high] = plant.envelopeUs;
  const [least, most] = SERVO_US;
  if (low >= least && high <= most) return;
  throw new Refusal(
    'driver.envelope',
    `${name}: its pulse envelope, ${low} to ${high} us, is wider than the ${least} to ${most} us that driver pigpio can send; set envelopeUs within them, or move it to a pca9685 board`,
    { channel: name, envelopeUs: [low, high], allowedUs: [least, most] },
  );
}

/**
 * Makes a pin an output without a glitch: a level that is written to an input is stored, and appears when
 * the pin becomes an output (BCM2835 ARM Peripherals, section 6.1, GPSETn).
 */
function claim(pigpio: Pigpio, output: OutputSpec, sampleUs: number): PigpioGpio {
  const gpio = new pigpio.Gpio(output.pin);
  gpio.digitalWrite(output.safe);
  gpio.mode(MODE.output);
  if (output.kind === 'duty') {
    gpio.pwmFrequency(pwmFrequencyHz(sampleUs));
    gpio.pwmRange(PWM_STEPS);
    const steps = gpio.getPwmRealRange();
    if (steps !== PWM_STEPS)
      throw new Error(
        `pigpio: ${output.name} at GPIO ${output.pin} would have ${steps} steps of brightness instead of ${PWM_STEPS}`,
      );
  }
  return gpio;
}

/** Starts the library for the first of its users. */
function hold(user: PigpioDriver, sampleUs: number, load: () => Pigpio): Pigpio {
  if (shared && shared.sampleUs !== sampleUs)
    throw new Refusal(
      'driver.setting',
      `sampleUs ${sampleUs}: another board of this prop runs pigpio at ${shared.sampleUs} us, and there is one clock for both; give both the same`,
      { sampleUs, other: shared.sampleUs },
    );
  shared ??= { pigpio: start(load(), sampleUs), sampleUs };
  users.add(user);
  return shared.pigpio;
}

function letGo(user: PigpioDriver): void {
  users.delete(user);
  if (users.size > 0) return;
  process.off('exit', dropAll);
  const { pigpio } = shared!;
  shared = undefined;
  pigpio.terminate();
}

/** The DMA, and with it the pulses, would continue after the process has ended. */
function dropAll(): void {
  for (const user of users) user.makeSafe();
  shared?.pigpio.terminate();
}

function start(pigpio: Pigpio, sampleUs: number): Pigpio {
  const revision = pigpio.hardwareRevision();
  const processor = processorOf(revision);
  if (revision === 0)
    throw new Refusal(
      'driver.wrong-machine',
      'driver pigpio: this machine is not a board that pigpio knows; use driver: sim to try the prop here',
    );
  if (processor !== undefined && processor > NEWEST_PROCESSOR)
    throw new Refusal(
      'driver.wrong-machine',
      'driver pigpio: this board is newer than pigpio; use driver: linux here',
      { revision: revision.toString(16) },
    );
  pigpio.configureClock(sampleUs, pigpio.CLOCK_PCM);
  // No remote commands besides the daemon's own, and no sampling of inputs for alerts, which are not
  // used.
  pigpio.configureInterfaces(
    pigpio.DISABLE_FIFO_IF | pigpio.DISABLE_SOCK_IF | pigpio.DISABLE_ALERT,
  );
  try {
    pigpio.initialize();
  } catch (error) {
    throw new Refusal(
      'driver.no-library',
      `driver pigpio: the library does not start (${(error as Error).message}); it has to run as root, and as the only program that uses it: stop the pigpiod service with sudo systemctl disable --now pigpiod`,
    );
  }
  takeBackSignals();
  process.on('exit', dropAll);
  return pigpio;
}

/**
 * The library takes over every signal when it starts, and ends the process at most of them; the package
 * has no way to prevent that. Removing and adding listeners installs them again. The end of a child
 * process that is already running cannot be recovered: start none before.
 */
function takeBackSignals(): void {
  for (const signal of Object.keys(constants.signals) as NodeJS.Signals[]) {
    const listeners = process.rawListeners(signal) as NodeJS.SignalsListener[];
    if (listeners.length > 0) process.removeAllListeners(signal);
    else if (HARMLESS.includes(signal)) listeners.push(() => {});
    for (const listener of listeners) process.on(signal, listener);
  }
}

/**
 * Loads the npm package. It also loads without its native part, and then prints the cause in a box of
 * text, from which it is taken.
 * @param require where the package is searched.
 * @throws Refusal that says what to install
 */
export function loadPigpio(require = createRequire(import.meta.url)): Pigpio {
  const said: string[] = [];
  const { warn } = console;
  console.warn = (...words: unknown[]) => void said.push(words.join(' '));
  let pigpio: Pigpio;
  try {
    pigpio = require('pigpio');
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'MODULE_NOT_FOUND') throw error;
    throw notBuilt('is not installed', 'npm install pigpio');
  } finally {
    console.warn = warn;
  }
  if (said.length === 0) return pigpio;
  // So that a new attempt after a build finds it.
  delete require.cache[require.resolve('pigpio')];
  const cause = /^Error: (.*?)[.:]*(?: Tried:)?$/m.exec(said.join('\n'))?.[1];
  throw notBuilt(`is not built${cause ? ` (${cause})` : ''}`, 'npm rebuild pigpio');
}

function notBuilt(what: string, command: string): Refusal {
  return new Refusal(
    'driver.no-library',
    `driver pigpio: the pigpio package ${what} on this machine; install the C library (sudo apt install pigpio, or build it from source), then: ${command}; boards of the newest generation need driver: linux`,
  );
}

/** The driver of a header through the pigpio library, not yet open. */
export function create({ sampleUs }: PigpioBoard): Driver {
  return new PigpioDriver(sampleUs);
}
