import { DRIVER_NAMES, type DriverName, factsOf } from '../boards/registry.ts';
import { PARTS, partsFor } from './parts.ts';

const DRIVERS = DRIVER_NAMES.filter((driver) => factsOf({ driver }).addresses !== undefined);

/** The parts of a driver whose boards are on an I2C bus, or the driver itself where it has none. */
export function boardPartsOf(driver: DriverName): string[] {
  const parts = partsFor(driver);
  return parts.length > 0 ? [...parts] : [driver];
}

/** The boards on an I2C bus that can be added, by their parts. */
export const BOARD_PARTS: readonly string[] = DRIVERS.flatMap(boardPartsOf);

/** The driver of one of `BOARD_PARTS`. */
export function driverOfPart(name: string): DriverName | undefined {
  if (!BOARD_PARTS.includes(name)) return undefined;
  return DRIVERS.find((driver) => driver === name || PARTS[name]?.kind === driver);
}
