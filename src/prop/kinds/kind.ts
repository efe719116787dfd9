import type { Measurable, MeasuredThing } from '../../shared/measured.ts';
import type { Rgb } from '../../sums/light.ts';
import type { ServoMapping } from '../../sums/servo-mapping.ts';
import type { Path } from '../finding.ts';
import type { Mechanics } from '../mechanics.ts';
import type { Limits, Notes } from '../notes.ts';
import type { Requirement } from '../schema-parts.ts';
import type { CommandPart } from '../steps.ts';
import type { Symptom } from '../symptoms.ts';
import type { Channel } from './channel.ts';
import type { KindInfo } from './info.ts';
import type { Level } from './meter.ts';

/** What each kind of channel answers; all code that depends on the kind asks here. */

/** The value of a channel: deg, 1 or 0, perceived lightness 0 to 1, #rrggbb, or volume 0 to 1. */
export type ValueType = 'deg' | 'on' | 'lightness' | 'colour' | 'volume';

/** A pin that a channel drives. */
export interface Output {
  pin: number;
  /** Where its number is, within `output`. */
  at: Path;
  colour?: 'red' | 'green' | 'blue';
}

/** The currents of a channel, from the file (A). */
export interface Draw {
  /** Parked, with the prop awake. */
  idleA: number;
  /** Moving or fully on. */
  busyA: number;
  /** Blocked while it should move; fully on for kinds that do not move. */
  stallA: number;
  /** `busyA` by its pins, in the order of `outputs`. */
  pinsA: readonly number[];
}

/** The weight of a light when flashes are judged, if the file gives it. */
export interface LightWeight {
  share?: number | undefined;
  lumens?: number | undefined;
}

/** What each kind of light answers. A lamp's lightness is a colour with three equal parts. */
export interface Light<C> {
  /** The colour (sRGB, 0 to 1) of a value in a pose or step; undefined for another kind's value. */
  colour(to: number | string): Rgb | undefined;
  /** Linear light of one colour part, 0 to 1. */
  linear(part: number): number;
  /** Estimated current at a colour (A). */
  ampsAt(channel: C, colour: Rgb): number;
  /** Why its PWM may be slow, if the file says so; absent for a kind on which slow PWM is not visible. */
  flicker?(channel: C): { reason: string } | undefined;
}

/** What the LEDs of a light need, per colour if it has several. */
interface LedSpec {
  colour?: 'red' | 'green' | 'blue';
  forwardV: number;
  spreadV: number;
  currentA: number;
  resistorOhm: number | undefined;
  /** Its supply voltage, if that is not the rail's. */
  supplyV: number | undefined;
}

/** Words for a channel in sentences. */
export interface Words {
  /** The part at its plug. */
  part: string;
  /** Its state while it draws its current, e.g. `moving`. */
  busy: string;
  /** Its state while it is in use, e.g. `on`, and while it is not. */
  used: string;
  unused: string;
  /** What to do so that it requires nothing. */
  release(name: string): string;
  /** What to require of it, instead of something that does not fit its kind. */
  requireInstead?: string;
  /** Why its wire needs its cores. */
  cores: string;
}

/** Answers for fault-finding. */
export interface Faults<C> {
  symptoms: readonly Symptom[];
  /** What to rule out before any tool is used, besides what applies to all channels. */
  rulesOut(channel: C): string[];
  /**
   * How to bring its signal to known levels, and what a meter then shows.
   * @param role role of the measured core
   * @param pulseHz how often the board repeats a pulse
   */
  levels(channel: C, name: string, role: string, pulseHz: number): Level[];
  /** The command that sets it fully on. */
  full?(name: string): string;
  off?(name: string): string;
}

/** One kind of channel. */
export interface Kind<C = Channel> {
  readonly value: ValueType;
  /** Which part of a cue step commands it. */
  readonly part: CommandPart;
  /** It moves from angle to angle, which takes time. */
  readonly moves: boolean;
  /** The levels of it that a lighting desk may lead; absent for a kind that it must not. */
  readonly levels?: readonly string[];
  /** It is a contact, on or off, and its load has a circuit of its own. */
  readonly switches: boolean;
  /** A current (A) beyond any channel of this kind in a prop: common practice, from memory. */
  readonly unlikelyA: number;
  readonly words: Words;
  readonly faults: Faults<C>;
  readonly light?: Light<C>;
  outputs(channel: C): readonly Output[];
  /** What its pins must do besides two levels. */
  readonly needs?: 'pulses' | 'PWM';
  /** The cores that its wires must have. */
  cores(channel: C): readonly ('signal' | 'plus' | 'return')[];
  draw(channel: C): Draw;
  /** How it counts when flashes are judged; undefined if it gives no light. */
  glow(channel: C): { weight: LightWeight | undefined; unrestricted: boolean } | undefined;
  leds?(channel: C): readonly LedSpec[];
  /** Whether a value of a pose or of `park` has it in use: away from its park position, on or lit. */
  usedAt(channel: C, value: number | string): boolean;
  /** Whether another channel's requirement holds at such a value; undefined if the file does not say. */
  meets(channel: C, needs: Requirement, value: number | string): boolean | undefined;
  /** The longest time to its park position (s). @param range its soft limits, if it has any (deg) */
  maxParkS(channel: C, range: readonly [number, number] | undefined): number;
  /** Checks a channel by itself; adds its soft limits, if any, to `limits`. */
  check(notes: Notes, name: string, channel: C, limits: Limits): void;
  /** Checks the value that a pose gives it. */
  checkPose(
    notes: Notes,
    name: string,
    channel: C,
    value: number | string,
    path: Path,
    limits: Limits,
  ): void;
  /** What can be measured of this channel, for `measured` in the prop file. */
  measurable(channel: C): readonly Measurable[];
  /** What its measurements are made of, where that is more than its entry in the file. */
  measuredThing?(channel: C): MeasuredThing;
  /** What `channel.list` says about this kind only. */
  info(
    channel: C,
    facts: { mapping?: ServoMapping; mechanics: Mechanics; sounds?: readonly string[] },
  ): KindInfo;
}
