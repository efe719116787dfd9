import type * as z from 'zod';
import type { PlannedOutput } from '../safe/plan.ts';

/**
 * What is known of the boards of a driver without opening one. It needs neither the code nor the packages
 * of the driver: the check of a prop file, the core, the pictures and the locks all use it.
 */
export interface BoardFacts<Entry, Place extends object = object> {
  /** The schema of an entry under `boards:`, made when it is first asked for. */
  schema(z: Z, parts: SchemaParts): z.ZodType<Entry>;
  /** Whether its pins are those of the 40-pin header. */
  readonly header: boolean;
  /** Its pins are 0 up to, but not including, this. */
  readonly pins: number;
  /** What a pin is called, before its number: `GPIO 5`, `output 3`. */
  readonly word: 'GPIO' | 'output';
  /** What the board itself keeps a pin for. */
  reservedFor(pin: number): string | undefined;
  /** What a cavity of its connector is; undefined where there is none. */
  at(cavity: number): BoardCavity | undefined;
  /** The cavity that a pin is in; undefined where it is in none. */
  cavityOf(pin: number): number | undefined;
  /** The cavities of its connector that are power, each of a kind joined on the board. */
  readonly power?: Readonly<Record<Power, readonly number[]>>;
  /** What of the header it takes for itself, where the header is another board's. */
  readonly uses?: ReservedFor;
  /** What its pins are as parts of a circuit. */
  electrics(board: Entry): PinElectrics;
  /** Pulse widths are whole multiples of this (us), as the driver sends them. */
  pulseStepUs(board: Entry): number;
  /** How often a servo's pulse is repeated (Hz), as the driver does. */
  pulseHz(board: Entry): number;
  /** The frequency of the PWM of its lights (Hz), as the driver makes it; undefined where nothing lights up. */
  lightHz(board: Entry): number | undefined;
  /** The pin of another board that enables its outputs while it is low. */
  enable?(board: Entry): { board: string; pin: number } | undefined;
  /** Boards with the same word have the same pins in the real world. */
  pinSpace(name: string): string;
  /** Identifies the physical pin, whatever the name of its board: what is saved holds for that pin only. */
  placeOf(name: string, board: Entry, pin: number): string;
  /** What its way to safe levels needs to find it: its entry in the safe plan. */
  planned(board: Entry): Place;
  /** What of it no other daemon may drive. */
  locks(board: Place & { name: string; outputs: readonly PlannedOutput[] }): Lockable[];
  /** What is wrong with the board as a whole. */
  lintBoard?(name: string, board: Entry, notes: BoardNotes): void;
  /** What is wrong with a use of one of its pins. */
  lintPin(use: PinUse, board: Entry, notes: BoardNotes): void;
}

/** What a pin of a board is as a part of a circuit. */
export interface PinElectrics {
  /** Voltage of a high level (V). */
  highV: number;
  /** What one pin may give at a high level, and take at a low one (A). */
  sourceA: number;
  sinkA: number;
  /** What all pins may give and take together (A). */
  sumA: number;
  /** What a pin may be pulled up to from outside (V). */
  bearsV: number;
  /** What to add to a voltage that follows from `highV`, where that is only taken for granted. */
  note?: string;
  /** What the pin does while no daemon drives it: from power-on, and when its outputs are cut. */
  undriven(pin: number): 'pulled up' | 'pulled down' | 'low' | 'floating';
}

/**
 * What a board's schema may be made of. Zod is passed in as well: an import would load all of it into the
 * core, which needs none.
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
}

export type Power = '3.3 V' | '5 V' | 'ground';
export type ReservedFor = 'ID EEPROM' | 'I2C' | 'serial console';
type BoardCavity = { pin: number } | { power: Power };

/** What is locked, in words, and the file's name. */
export interface Lockable {
  key: string;
  /** `board head (address 0x40 on I2C bus 1)`. */
  what: string;
}

/** A place in the prop file's data. */
type Path = readonly (string | number)[];

/** What a pin switches through something else. */
interface Switched {
  /** On, or lit, at a low level. */
  readonly activeLow: boolean;
  /** The resistor that is fitted there. */
  readonly pull?: 'up' | 'down' | undefined;
}

/** One use of a pin in a prop file. */
export interface PinUse {
  board: string;
  pin: number;
  path: Path;
  boardPath: Path;
  /** Who uses the pin, for messages. */
  owner: string;
  /** What is wired to a pin that is read; all others are driven. */
  input?: string;
  relay?: Switched & { readonly safe?: 'on' | 'off' | undefined };
  /** A light that does not hang on the pin itself: what lies between may light it by itself. */
  light?: Switched;
  /** The board whose outputs it enables, when low. */
  enables?: string;
  /** What the output must be able to do beside two levels. */
  needs?: 'pulses' | 'PWM';
  /** The shortest and the longest pulse sent there (us), and where the file says so. */
  pulses?: { us: readonly [number, number]; path: Path };
}

/** Where a driver says what is wrong with a prop file, and what it sees of the file. */
export interface BoardNotes {
  readonly prop: { readonly boards: Readonly<Record<string, { readonly driver: string }>> };
  error(path: Path, wrong: string, right: string): void;
  warning(path: Path, wrong: string, right: string): void;
  /** An error in a name: points at the key. */
  keyError(path: Path, wrong: string, right: string): void;
  /** A channel; undefined, and an error at the key of `path`, where there is none. */
  channel(name: string, path: Path): { readonly kind: string } | undefined;
  /** The first board that takes this of the header for itself. */
  userOf(what: ReservedFor): string | undefined;
}
