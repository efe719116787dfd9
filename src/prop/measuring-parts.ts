import { DRIVER_NAMES, type DriverName, factsOf } from '../boards/registry.ts';
import { PARTS, partsFor } from './parts.ts';

const DRIVERS = DRIVER_NAMES.filter((driver) => {
  const { measures, addresses } = factsOf({ driver });
  return measures !== undefined && addresses !== undefined;
});

/** What measures and can be added: the parts of each such driver, or the driver where it has none. */
export const MEASURING: readonly string[] = DRIVERS.flatMap((driver) => {
  const parts = partsFor(driver);
  return parts.length > 0 ? parts : [driver];
});

/** The driver of one of `MEASURING`. */
export function measuringPart(name: string): DriverName | undefined {
  if (!MEASURING.includes(name)) return undefined;
  return DRIVERS.find((driver) => driver === name || PARTS[name]?.kind === driver);
}
