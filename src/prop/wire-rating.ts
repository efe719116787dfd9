import { ambientFactor, capacityA, strictCapacityA } from '../sums/wire.ts';
import type { Prop } from './schema.ts';

/**
 * Current (A) that a copper conductor of a section (mm2) may carry in this prop, by its table and
 * temperature.
 */
export function wireRatingA(
  { ampacity, ambientC }: Pick<Prop, 'ampacity' | 'ambientC'>,
  sectionMm2: number,
): number {
  const usualA = capacityA(sectionMm2);
  const tableA = ampacity === 'strict' ? Math.min(usualA, strictCapacityA(sectionMm2)) : usualA;
  return tableA * ambientFactor(ambientC);
}
