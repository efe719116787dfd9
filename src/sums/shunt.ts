/** Current measured with a shunt: a resistor in the path, and the voltage that drops there (Ohm's law). */

/** Voltage at a shunt (V): U = I R. It is missing at the load. */
export function shuntV(amps: number, shuntOhm: number): number {
  return amps * shuntOhm;
}

/** Power that heats a shunt (W): P = I² R. */
export function shuntW(amps: number, shuntOhm: number): number {
  return amps ** 2 * shuntOhm;
}
