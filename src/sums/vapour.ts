/** A piezo unit that turns water into vapour at a steady rate, from a tank that nobody refills. */
export interface Vapour {
  tankMl: number;
  /** Water that it uses while it is on (ml/h). */
  rateMlPerH: number;
}

/** How long the tank lasts with the unit always on (s): volume / rate. */
export function runTimeS({ tankMl, rateMlPerH }: Vapour): number {
  return (tankMl / rateMlPerH) * 3600;
}

/** Water used (ml) in a time on (s). */
export function waterMl({ rateMlPerH }: Vapour, onS: number): number {
  return (rateMlPerH * onS) / 3600;
}

/**
 * How long the tank lasts (s) when the unit is on as often as its duty allows: whole cycles of on and
 * rest, then the remaining time on.
 */
export function showTimeS(vapour: Vapour, duty: { maxOnS: number; restS: number }): number {
  const onS = runTimeS(vapour);
  const rests = Math.max(0, Math.ceil(onS / duty.maxOnS) - 1);
  return onS + rests * duty.restS;
}
