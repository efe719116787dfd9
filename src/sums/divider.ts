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

/**
 * Share of the voltage that an input of `inputOhm` loses with a source of `sourceOhm`, 0 to 1: the two are a
 * divider.
 */
export function loadingError(sourceOhm: number, inputOhm: number): number {
  return sourceOhm / (sourceOhm + inputOhm);
}
