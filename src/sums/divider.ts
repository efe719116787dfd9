import { preferredAbove } from './resistor.ts';

/** A voltage divider: a resistor to the source, one to ground, and the input between them. */

/** Voltage at the input (V): U R2 / (R1 + R2), of two resistors in series (Ohm's law). */
export function dividedV(sourceV: number, upperOhm: number, lowerOhm: number): number {
  return (sourceV * lowerOhm) / (upperOhm + lowerOhm);
}

/** Voltage of the source (V) for a voltage at the input. */
export function undividedV(inputV: number, upperOhm: number, lowerOhm: number): number {
  return (inputV * (upperOhm + lowerOhm)) / lowerOhm;
}

/** Resistance of the divider as the input sees it (ohm): both in parallel (Thévenin's theorem). */
export function dividerOhm(upperOhm: number, lowerOhm: number): number {
  return (upperOhm * lowerOhm) / (upperOhm + lowerOhm);
}

/** Tolerance of E24 resistors (share, IEC 60062). */
const TOLERANCE = 0.05;
/** What the input sees at most (ohm): well below what an analogue input has. Common practice, no source. */
const MOST_SOURCE_OHM = 10_000;
/** From the smallest to the largest resistor (ohm): little current, and little disturbance. */
const LEAST_OHM = 1000;
const MOST_OHM = 1_000_000;

/**
 * The divider of preferred values (IEC 60063, E24) that brings a voltage down to an input: the input gets as
 * much as it can without more than `inputV`, also with both resistors 5 % off. Undefined where there is none.
 */
export function chooseDivider(
  sourceV: number,
  inputV: number,
): [upperOhm: number, lowerOhm: number] | undefined {
  let best: [number, number] | undefined;
  for (let lower = LEAST_OHM; lower <= MOST_OHM; lower = preferredAbove(lower * 1.01)) {
    const most = lower * (1 + TOLERANCE);
    const wanted = (most * (sourceV / inputV - 1)) / (1 - TOLERANCE);
    const upper = preferredAbove(Math.max(wanted, LEAST_OHM));
    if (upper > MOST_OHM || dividerOhm(upper, lower) > MOST_SOURCE_OHM) continue;
    // Of two that are as good, the larger one draws less from a battery.
    if (!best || dividedV(sourceV, upper, lower) >= dividedV(sourceV, ...best) - 1e-9)
      best = [upper, lower];
  }
  return best;
}

/**
 * Share of the voltage that an input of `inputOhm` loses with a source of `sourceOhm`, 0 to 1: the two are a
 * divider.
 */
export function loadingError(sourceOhm: number, inputOhm: number): number {
  return sourceOhm / (sourceOhm + inputOhm);
}
