import type { Calibration } from '../sums/calibration.ts';
import type { Linkage } from '../sums/linkage.ts';

/**
 * One physical output of a board.
 * - `pulse`: servo pulse width in us; 0 stops the pulses.
 * - `level`: a relay's electrical level, 0 or 1 (active-low is already applied).
 * - `duty`: share of the period in which the pin is high, 0..1 (common anode is already applied).
 */
export interface OutputSpec {
  /** `beak`, or `eye_left.red` for one colour of an rgb channel: used in messages. */
  name: string;
  kind: 'pulse' | 'level' | 'duty';
  pin: number;
  /** The value that makes this output safe: no pulses, relay released, lamp dark. */
  safe: number;
  /**
   * What is known about the servo or load on the pin: for the simulated plant, and for a driver's own
   * checks.
   */
  plant?: ServoPlant | LoadPlant | SoundPlant;
}

export interface ServoPlant {
  kind: 'servo';
  channel: string;
  /** Pulse to horn angle. */
  calibration: Calibration;
  /** Horn to flap angle; all other degrees are then the flap's, otherwise the horn's. */
  linkage?: Linkage | undefined;
  envelopeUs: readonly [number, number];
  limitsDeg: readonly [number, number];
  draw: { idleA: number; movingA: number; stallA: number };
  /** Where the servo rests (deg) at power-on if nothing else is known: its park position. */
  parkDeg: number;
}

export interface LoadPlant {
  kind: 'load';
  channel: string;
  /** Current when fully on (A). */
  onA: number;
  /** The level at which the load draws current. */
  activeLevel: 0 | 1;
}

/** A file with a sound. */
export interface SoundFile {
  name: string;
  /** Its name beside the prop file, for messages, and its whole path. */
  file: string;
  path: string;
}

/** The number of the tone by which a person finds a loudspeaker, above those of sounds; how long it takes (s). */
export const CHIRP = 4095;
export const CHIRP_S = 0.6;
/** A start has its number plus a multiple of this, so that the same sound again is another value. */
export const SOUND_NUMBERS = 4096;

/** A loudspeaker: what it may play, on the output whose value is the number of what is to play. */
export interface SoundPlant {
  kind: 'sounds';
  channel: string;
  /** The outputs with its amplitude, 0 to 1, and with the time until it is to be heard (ms). */
  gain: number;
  delay: number;
  /** By their numbers from 1; 0 is silence. */
  files: readonly SoundFile[];
}

export interface InputSpec {
  name: string;
  pin: number;
  /** Internal resistor; `up` for a contact to ground, so that a broken wire reads 1. */
  pull: 'up' | 'down' | 'off';
  /**
   * The level of the input at rest, for a simulated board; default: that of the pull. A normally closed
   * contact to ground rests at 0.
   */
  restLevel?: 0 | 1;
}

/** The outputs that change in one tick. Owned and reused by the core: a driver must not keep it. */
export interface Frame {
  /** How many of the entries below are in use. */
  count: number;
  /** Indices in the list of outputs given to `open`. */
  output: Uint16Array;
  value: Float64Array;
}

/** What a driver measures at one output; NaN where it cannot. Reused by the caller. */
export interface Sense {
  /** Measured angle (deg). */
  positionDeg: number;
  /** Measured current (A). */
  amps: number;
  /** The servo pushes against something and cannot go on: it buzzes. */
  pushing: boolean;
}

/** What a board measures at one of its inputs, repeatedly. */
export interface SenseSpec {
  /** Its name in the prop file: for messages. */
  name: string;
  quantity: Quantity;
  /** The input of a converter; 0 on a board that has only one place to measure. */
  input: number;
  /** Highest voltage (V) that comes to the input: the gain follows from it. Default: the full range. */
  maxV?: number;
}

/** `current`: A through the shunt, positive from the supply to the load. `volts`: V at the input. */
export type Quantity = 'current' | 'volts';

/** The latest of a measurement's readings. Reused by the caller. */
export interface Reading {
  /** A or V; NaN while there is none: none yet, or a fault. */
  value: number;
  /**
   * The lowest of all that were taken since the caller asked last (A or V); Infinity where the board does not
   * keep it, or has taken none.
   */
  low: number;
  /**
   * When the last value was asked for, on the core's clock (ms), so that it is never older than this
   * says; -Infinity before the first.
   */
  atMs: number;
  /** Why there is no value now, with the remedy; undefined where nothing is wrong. */
  fault: string | undefined;
}

/** How a simulated sense differs from a good one. */
export interface SimulatedSense {
  /** It reads this (A or V at the input), whatever there is to be measured. */
  value?: number | undefined;
  /** Standard deviation of its readings (A or V). */
  noise?: number | undefined;
  /** It stays at its last reading, which still seems new. */
  stuck?: boolean | undefined;
  /** It has stopped giving readings. */
  gone?: boolean | undefined;
  /** It gives what is not a number. */
  nan?: boolean | undefined;
  /** It answers for this other sense of the board. */
  as?: string | undefined;
}

/**
 * A board. A driver has no policy: it writes what it is given. Every method may throw; a throw from
 * `write`, `check`, `read` or `sense` makes the prop `faulted`. Nothing more is written to the board
 * then, so a driver that throws makes its outputs safe as far as it still can.
 */
export interface Driver {
  /** Pulse widths are whole multiples of this (us). */
  readonly pulseStepUs: number;
  /** Claims the pins and drives every output to its safe value. */
  open(outputs: readonly OutputSpec[], inputs: readonly InputSpec[]): Promise<void>;
  /** Writes one frame; `nowMs` is the tick's time on the core's monotonic clock. */
  write(frame: Frame, nowMs: number): void;
  /**
   * For boards that write in the background: called in every tick in which nothing is written, and throws
   * what has gone wrong there.
   */
  check?(nowMs: number): void;
  /** The level of an input, by its index in the list given to `open`. */
  read(input: number): 0 | 1;
  /** What a person should know and is no failure, one sentence at a time. */
  news?(): string | undefined;
  /** How long before its time something must be asked for, to be in time (s); 0 where this is absent. */
  readonly leadS?: number;
  /** How much later than it is written a value takes effect (s); 0 where this is absent. */
  readonly effectS?: number;
  /** Writes what is measured at an output; absent when the board measures nothing. */
  sense?(output: number, nowMs: number, into: Sense): void;
  /**
   * For a board that measures: begins to measure these, after `open`. It reads in the background, and is
   * asked every tick by `check`. Such a board that fails, or does not answer, fails no prop: `open`,
   * `check` and `close` succeed, and the readings have the fault. It is tried again by itself.
   */
  openSenses?(senses: readonly SenseSpec[]): Promise<void>;
  /**
   * Writes the latest reading, by its index in the list given to `openSenses`; never waits and never
   * throws. The caller judges how old it may be.
   */
  reading?(sense: number, nowMs: number, into: Reading): void;
  /**
   * For a simulated board: what there is to be measured from now on (A or V at the input), by the index of
   * the sense.
   */
  exposeSense?(sense: number, value: number): void;
  /**
   * For a simulated board: makes senses read something else, by their names (null: as they were).
   * @throws Refusal for one that is not on the board
   */
  simulateSenses?(senses: Readonly<Record<string, SimulatedSense | null>>): void;
  /**
   * For a simulated board: a hand turns limp servos, at the speed of a hand, by channel (deg).
   * @throws Refusal for one that is not on the board
   */
  turnByHand?(servos: Readonly<Record<string, number>>): void;
  /**
   * For a simulated board: sets input pins from outside (null releases one), and makes the board fail
   * with a message (null makes it work again). Returns the resulting state.
   */
  simulate?(
    inputs: Readonly<Record<string, 0 | 1 | null>>,
    fault: string | null | undefined,
  ): { inputs: Record<string, 0 | 1>; fault: string | null };
  /**
   * For a board that has failed: whether it is certain by now that every output has its safe value.
   * Absent where the driver cannot tell.
   */
  outputsAreSafe?(): boolean;
  /** Tries at once to make the outputs of a failed board safe; never waits and never throws. */
  retrySafe?(): void;
  /** Drives every output to its safe value and frees the pins. Safe to call twice. */
  close(): Promise<void>;
}
