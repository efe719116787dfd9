import { preferredBelow, type Series } from './resistor.ts';

/** A relay's coil, switched by a pin through a bipolar transistor. */

/** Base-emitter voltage of a saturated small silicon transistor (V). Common practice, no source. */
const BASE_EMITTER_V = 0.7;
/** How many times the least base current saturates it for certain. Common practice, no source. */
const OVERDRIVE = 3;

export interface Coil {
  /** Voltage of its supply (V) and its resistance (ohm). */
  volts: number;
  ohm: number;
  /** Least current gain of the transistor at this current (hFE, from its data sheet). */
  gain: number;
  /** Voltage of the pin (V). */
  driveV: number;
}

/** Current through the coil (A): Ohm's law, at 20 C, the transistor's own voltage not counted. */
export function coilA({ volts, ohm }: Pick<Coil, 'volts' | 'ohm'>): number {
  return volts / ohm;
}

/**
 * What the base wants (A) to saturate a transistor that passes this current (A): the overdrive times the
 * current by the gain.
 */
export function saturatingA(amps: number, gain: number): number {
  return (OVERDRIVE * amps) / gain;
}

/** Current into the base (A) through a resistor (ohm). */
export function baseA({ driveV }: Pick<Coil, 'driveV'>, baseOhm: number): number {
  return Math.max(0, driveV - BASE_EMITTER_V) / baseOhm;
}

export interface BaseResistor {
  /** What saturates the transistor with the overdrive, and the next preferred value below. */
  exactOhm: number;
  ohm: number;
  /** What the pin then gives (A). */
  pinA: number;
}

/**
 * The base resistor of the transistor: R = (pin - 0.7 V) gain / (overdrive x coil current), and the
 * next preferred value below, which saturates it better still. Undefined where the pin is not above
 * 0.7 V. See that `pinA` is within what the pin may give: else a MOSFET or a driver chip is needed.
 */
export function baseResistor(coil: Coil, series: Series = 'E24'): BaseResistor | undefined {
  if (coil.driveV <= BASE_EMITTER_V) return undefined;
  const neededA = saturatingA(coilA(coil), coil.gain);
  const exactOhm = (coil.driveV - BASE_EMITTER_V) / neededA;
  const ohm = preferredBelow(exactOhm, series);
  return { exactOhm, ohm, pinA: baseA(coil, ohm) };
}

/** What the diode across a coil must bear. */
export interface Flyback {
  /** Reverse voltage: twice the supply (common practice, no source). */
  reverseV: number;
  /** Forward current at the moment of opening: the coil's own, as an inductor's current cannot jump (A). */
  forwardA: number;
}

/** The diode that takes a coil's current when it is switched off: cathode at plus, close to the coil. */
export function flybackDiode(coil: Pick<Coil, 'volts' | 'ohm'>): Flyback {
  return { reverseV: 2 * coil.volts, forwardA: coilA(coil) };
}
