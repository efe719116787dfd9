import type { Rail } from './schema.ts';

export type Battery = NonNullable<Rail['battery']>;

/** Voltages that differ by more than this share have a regulator between them. */
const REGULATED_SHARE = 0.25;

/**
 * The battery of a rail, if its full or empty voltage is given and it feeds the rail directly: not if its
 * nominal voltage is far from the rail's, so that there is a regulator between them.
 */
export function batteryOf({ battery, volts }: Rail): Battery | undefined {
  if (!battery || (battery.fullV === undefined && battery.emptyV === undefined)) return undefined;
  const { nominalV = volts } = battery;
  return Math.abs(nominalV - volts) > REGULATED_SHARE * volts ? undefined : battery;
}
