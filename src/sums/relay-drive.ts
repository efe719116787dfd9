import { preferredBelow, type Series } from './resistor.ts';

/** A relay's coil, switched by a pin through a bipolar transistor. */

/** Base-emitter voltage of a saturated small silicon transistor (V). Common practice, no source. */
const BASE_EMITTER_V = 0.7;
/** Multiple of the least base current that saturates it for certain. Common practice, no source. */
const OVERDRIVE = 3;

export interface Coil {
  /** Voltage of its supply (V) and its resistance (ohm). */
  volts: number;
  ohm: number;
  /** Minimum current gain of the transistor at this current (hFE, from its data sheet). */
  gain: number;
  /** Voltage of the pin (V). */
  driveV: number;
}

/** Current through the coil (A): Ohm's law, at 20 C, without the transistor's own voltage. */
export function coilA({ volts, ohm }: Pick<Coil, 'volts' | 'ohm'>): number {
  return volts / ohm;
}

/**
 * Base current (A) that saturates a transistor which carries this current (A): overdrive x current /
 * gain.
 */
export function saturatingBaseA(amps: number, gain: number): number {
  return (OVERDRIVE * amps) / gain;
}

/** Current into the base (A) through a resistor (ohm). */
export function baseA({ driveV }: Pick<Coil, 'driveV'>, baseOhm: number): number {
  return Math.max(0, driveV - BASE_EMITTER_V) / baseOhm;
}

export interface BaseResistor {
  /** The resistance for exactly the overdrive, and the next preferred value below. */
  exactOhm: number;
  ohm: number;
  /** Current that the pin then supplies (A). */
  pinA: number;
}

/**
 * The base resistor of the transistor: R = (pin - 0.7 V) gain / (overdrive x coil current), and the next
 * preferred value below, which saturates it even better. Undefined where the pin is not above 0.7 V. If
 * `pinA` is more than the pin may supply, a MOSFET or a driver chip is needed.
 */
export function baseResistor(coil: Coil, series: Series = 'E24'): BaseResistor | undefined {
  if (coil.driveV <= BASE_EMITTER_V) return undefined;
  const neededA = saturatingBaseA(coilA(coil), coil.gain);
  const exactOhm = (coil.driveV - BASE_EMITTER_V) / neededA;
  const ohm = preferredBelow(exactOhm, series);
  return { exactOhm, ohm, pinA: baseA(coil, ohm) };
}

/** What the diode across a coil must withstand. */
export interface Flyback {
  /** Reverse voltage: twice the supply (common practice, no source). */
  reverseV: number;
  /** Forward current at the moment of opening: the coil's own, as an inductor's current cannot jump (A). */
  forwardA: number;
}

/** The diode that carries a coil's current when it is switched off: cathode to plus, close to the coil. */
export function flybackDiode(coil: Pick<Coil, 'volts' | 'ohm'>): Flyback {
  return { reverseV: 2 * coil.volts, forwardA: coilA(coil) };
}
