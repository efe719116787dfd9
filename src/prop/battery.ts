import type { Rail } from './schema.ts';

export type Battery = NonNullable<Rail['battery']>;

/** Voltages this far apart (share) have a regulator between them. */
const REGULATED_SHARE = 0.25;

/**
 * The battery of a rail, where its voltage, full or empty, is given and stands at the rail itself: not where
 * its nominal voltage is far from that of the rail, so that a regulator lies between.
 */
export function batteryOf({ battery, volts }: Rail): Battery | undefined {
  if (!battery || (battery.fullV === undefined && battery.emptyV === undefined)) return undefined;
  const { nominalV = volts } = battery;
  return Math.abs(nominalV - volts) > REGULATED_SHARE * volts ? undefined : battery;
}
