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

/** What a kind of channel answers; all code that depends on the kind asks here. */

/** What the value of a channel is: deg, 1 or 0, perceived lightness 0 to 1, or #rrggbb. */
export type ValueType = 'deg' | 'on' | 'lightness' | 'colour';

/** A pin that a channel drives. */
export interface Output {
  pin: number;
  /** Where its number is, within `output`. */
  at: Path;
  colour?: 'red' | 'green' | 'blue';
}

/** The currents of a channel, as the file has them (A). */
export interface Draw {
  /** Parked, with the prop awake. */
  idleA: number;
  /** Moving or fully on. */
  busyA: number;
  /** Held fast while it should move; fully on where nothing moves. */
  stallA: number;
  /** `busyA` by its pins, in the order of `outputs`. */
  pinsA: readonly number[];
}

/** How much a light counts when flashes are judged, if the file says so. */
export interface LightWeight {
  share?: number | undefined;
  lumens?: number | undefined;
}

/** What a kind of light answers. A lamp's lightness is a colour of three like parts. */
export interface Light<C> {
  /** The colour (sRGB, 0 to 1) of a value in a pose or step; undefined of one for another kind. */
  colour(to: number | string): Rgb | undefined;
  /** Linear light of one part of it, 0 to 1. */
  linear(part: number): number;
  /** Estimated draw at a colour (A). */
  ampsAt(channel: C, colour: Rgb): number;
  /** Why its PWM may be slow, if the file says so; absent where slow PWM is not seen. */
  flicker?(channel: C): { reason: string } | undefined;
}

/** What the LEDs of a light need; given per colour where it has several. */
interface LedSpec {
  colour?: 'red' | 'green' | 'blue';
  forwardV: number;
  spreadV: number;
  currentA: number;
  resistorOhm: number | undefined;
  /** Its supply, where that is not the rail. */
  supplyV: number | undefined;
}

/** How a channel is called in sentences. */
export interface Words {
  /** The part on its plug. */
  part: string;
  /** What it is while its current flows, such as `moving`. */
  busy: string;
  /** What it is while it is in use, such as `on`, and while it is not. */
  used: string;
  unused: string;
  /** What to do so that it needs nothing any more. */
  release(name: string): string;
  /** What to require of it, in place of something that it cannot answer. */
  requireInstead?: string;
  /** Why its wire has the cores that it has. */
  cores: string;
}

/** What fault-finding asks. */
export interface Faults<C> {
  symptoms: readonly Symptom[];
  /** What to rule out before any tool is used, beside what all channels have in common. */
  rulesOut(channel: C): string[];
  /**
   * How its signal can be brought to known levels, and what a meter shows then.
   * @param role of the core that is measured
   * @param pulseHz how often the board repeats a pulse
   */
  levels(channel: C, name: string, role: string, pulseHz: number): Level[];
  /** The commands that ask for all of a light and for none of a light or load. */
  full?(name: string): string;
  off?(name: string): string;
}

/** One kind of channel. */
export interface Kind<C = Channel> {
  readonly value: ValueType;
  /** Which part of a cue step commands it. */
  readonly part: CommandPart;
  /** It goes from angle to angle and takes its time. */
  readonly moves: boolean;
  /** It is a contact, on or off, and what it switches has a circuit of its own. */
  readonly switches: boolean;
  /** A current (A) that is beyond any channel of this kind in a prop: common practice, from memory. */
  readonly unlikelyA: number;
  readonly words: Words;
  readonly faults: Faults<C>;
  readonly light?: Light<C>;
  outputs(channel: C): readonly Output[];
  /** What its pins must be able to do beside two levels. */
  readonly needs?: 'pulses' | 'PWM';
  /** The cores that its wires must have. */
  cores(channel: C): readonly ('signal' | 'plus' | 'return')[];
  draw(channel: C): Draw;
  /** How it counts when flashes are judged; undefined where it gives no light. */
  glow(channel: C): { weight: LightWeight | undefined; unrestricted: boolean } | undefined;
  leds?(channel: C): readonly LedSpec[];
  /** Whether it is away from its park position, on or lit at a value of a pose or of `park`. */
  usedAt(channel: C, value: number | string): boolean;
  /**
   * Whether what another channel requires of it holds at such a value; undefined where the file does
   * not tell.
   */
  meets(channel: C, needs: Requirement, value: number | string): boolean | undefined;
  /** The longest way to its park position (s). @param range its soft limits, where it has any (deg) */
  homeS(channel: C, range: readonly [number, number] | undefined): number;
  /** Checks a channel by itself; notes its soft limits, where it has any. */
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
  /** What `channel.list` says of it alone. */
  info(channel: C, facts: { mapping?: ServoMapping; mechanics: Mechanics }): KindInfo;
}
