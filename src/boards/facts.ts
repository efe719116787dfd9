import type * as z from 'zod';
import type { PlannedOutput } from '../safe/plan.ts';
import type { Quantity } from './board.ts';

/**
 * What is known about a driver's boards without opening one. It needs neither the code nor the packages
 * of the driver, so check, the core, the drawings and the locks can all use it.
 */
export interface BoardFacts<Entry, Place extends object = object> {
  /** The schema of an entry under `boards:`, made on demand. */
  schema(z: Z, parts: SchemaParts): z.ZodType<Entry>;
  /** Whether its pins are the 40-pin header. */
  readonly header: boolean;
  /** Its pins are 0 up to, but not including, this. */
  readonly pins: number;
  /** It plays the sounds of channels that have no pin. */
  readonly sounds?: true;
  /** The word before a pin's number: `GPIO 5`, `output 3`. */
  readonly word: 'GPIO' | 'output';
  /** What the board itself uses a pin for. */
  reservedFor(pin: number): string | undefined;
  /** What a cavity of its connector carries; undefined where there is no such cavity. */
  at(cavity: number): BoardCavity | undefined;
  /** The cavity of a pin; undefined where it has none. */
  cavityOf(pin: number): number | undefined;
  /** The power cavities of its connector; those of one kind are joined on the board. */
  readonly power?: Readonly<Record<Power, readonly number[]>>;
  /** What it uses of the header of another board. */
  readonly uses?: ReservedFor;
  /** How a new prop may have such a board. */
  readonly setUp: SetUp<Entry>;
  /** The electrical properties of its pins. */
  electrics(board: Entry): PinElectrics;
  /** Pulse widths are whole multiples of this (us), as the driver sends them. */
  pulseStepUs(board: Entry): number;
  /** How often the driver repeats a servo's pulse (Hz). */
  pulseHz(board: Entry): number;
  /** The PWM frequency of its lights (Hz), as the driver makes it; undefined where it cannot drive lights. */
  lightHz(board: Entry): number | undefined;
  /** The pin of another board that enables its outputs while it is low. */
  enable?(board: Entry): { board: string; pin: number } | undefined;
  /** What it measures; undefined where it measures nothing. */
  measures?(board: Entry): Measures;
  /** Of a chip that can be at several I2C addresses: those to try, in this order. */
  addresses?: readonly number[];
  /** Boards with the same value share the same physical pins. */
  pinSpace(name: string): string;
  /** Identifies the physical pin, whatever the name of its board: saved state is valid for that pin only. */
  placeOf(name: string, board: Entry, pin: number): string;
  /** Its entry in the safe plan: what `safe.ts` needs to find the board. */
  planned(board: Entry): Place;
  /** The parts of it that no other daemon may drive. */
  locks(board: Place & { name: string; outputs: readonly PlannedOutput[] }): Lockable[];
  /** Reports what is wrong with the board as a whole. */
  lintBoard?(name: string, board: Entry, notes: BoardNotes): void;
  /** Reports what is wrong with a use of one of its pins. */
  lintPin(use: PinUse, board: Entry, notes: BoardNotes): void;
  /** Reports what is wrong with a measurement on it; present where `measures` is. */
  lintSense?(use: SenseUse, board: Entry, notes: BoardNotes): void;
}

/** What a board can measure. */
export interface Measures {
  quantities: readonly Quantity[];
  /** Its inputs are 0 up to, but not including, this; 0 where a measurement names no input. */
  inputs: number;
  /** The highest voltage that a measured input withstands (V); absent where any will do. */
  inputV?: number;
  /** The shunt in the path of the current that it measures (ohm). */
  shuntOhm?: number;
  /** The power rating of that shunt (W), where the file gives it. */
  shuntW?: number | undefined;
}

/** How a board of a driver is proposed for a new prop. */
export interface SetUp<Entry> {
  /** What it is for, in words. */
  about: string;
  /** How many of them a prop may have. */
  most: number;
  /**
   * The entry of the board under `boards:`.
   * @param at its number among its like, from 0
   * @param enable the pin that cuts its outputs, where it can have one
   */
  entry(
    at: number,
    purpose: 'pulses' | 'PWM',
    enable?: { board: string; pin: number },
  ): Partial<Entry> & { driver: string };
  /** It can be cut by a pin of another board. */
  canBeCut: boolean;
  /** The pins that make pulses and PWM on each of its computers, where that is not every pin. */
  surePins?: readonly number[];
}

/** The electrical properties of a board's pins. */
export interface PinElectrics {
  /** Voltage of a high level (V). */
  highV: number;
  /** What one pin may source at a high level, and sink at a low level (A). */
  sourceA: number;
  sinkA: number;
  /** What all pins together may source and sink (A). */
  sumA: number;
  /** The highest voltage that a pin withstands from outside (V). */
  maxInputV: number;
  /** A remark for messages with a voltage that follows from `highV`, where that is an assumption. */
  note?: string;
}

/**
 * The parts of zod for a board's schema. It is passed in, because an import would load all of zod into
 * the core.
 */
export type Z = Pick<
  typeof z,
  | 'array'
  | 'boolean'
  | 'enum'
  | 'int'
  | 'literal'
  | 'number'
  | 'record'
  | 'strictObject'
  | 'string'
  | 'tuple'
  | 'union'
>;

/** What the prop file's schema passes to the schemas of its boards. */
export interface SchemaParts {
  name(what: string): z.ZodString;
  pin: z.ZodInt;
  positive(unit: string, doc: string): z.ZodNumber;
  atLeast0(unit: string, doc: string): z.ZodNumber;
  /** A class of part from the library. */
  part: z.ZodType<string>;
}

export type Power = '3.3 V' | '5 V' | 'ground';
export type ReservedFor = 'ID EEPROM' | 'I2C' | 'serial console';
type BoardCavity = { pin: number } | { power: Power };

/** What a lock file protects, in words, and its name. */
export interface Lockable {
  key: string;
  /** `board head (address 0x40 on I2C bus 1)`. */
  what: string;
}

/** A place in the prop file's data. */
type Path = readonly (string | number)[];

/** A load that a pin switches through another part. */
interface Switched {
  /** On at a low level. */
  readonly activeLow: boolean;
  /** The pull resistor that is fitted there. */
  readonly pull?: 'up' | 'down' | undefined;
}

/** One use of a pin in a prop file. */
export interface PinUse {
  board: string;
  pin: number;
  path: Path;
  boardPath: Path;
  /** Who uses the pin, in messages. */
  owner: string;
  /** What is wired to an input; other pins are outputs. */
  input?: string;
  relay?: Switched & { readonly safe?: 'on' | 'off' | undefined };
  /** A light that something between drives: that may light it by itself. */
  light?: Switched;
  /** The board whose outputs it enables at a low level. */
  enables?: string;
  /** What the output must do besides two levels. */
  needs?: 'pulses' | 'PWM';
  /** The shortest and the longest pulse sent there (us), and where they are in the file. */
  pulses?: { us: readonly [number, number]; path: Path };
}

/** One measurement in a prop file. */
export interface SenseUse {
  board: string;
  path: Path;
  /** Where the file names the board. */
  boardPath: Path;
  quantity: Quantity;
  /** The highest voltage that comes to the input (V), as far as the file says. */
  maxV?: number | undefined;
  /** Resistance of what drives the input (ohm). */
  sourceOhm?: number | undefined;
  /** What the rail whose current it measures may carry, and what its fuse carries for ever (A). */
  limit?: { rail: string; amps: number; fuseA?: number | undefined } | undefined;
}

/** How a driver reports what is wrong with a prop file, and looks things up in it. */
export interface BoardNotes {
  readonly prop: { readonly boards: Readonly<Record<string, { readonly driver: string }>> };
  error(path: Path, wrong: string, right: string): void;
  warning(path: Path, wrong: string, right: string): void;
  /** An error in a name: points at the key. */
  keyError(path: Path, wrong: string, right: string): void;
  /** A channel. If there is none, reports an error at the key of `path` and returns undefined. */
  channel(name: string, path: Path): { readonly kind: string } | undefined;
  /** The first board that uses this part of the header. */
  userOf(what: ReservedFor): string | undefined;
}
