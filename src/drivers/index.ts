import type { Board } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import type { Driver } from './driver.ts';
import { SimDriver } from './sim.ts';

/**
 * The driver of a board in the prop file, not yet open.
 * @throws Refusal when this version has no such driver
 */
export async function createDriver(board: Board): Promise<Driver> {
  if (board.driver === 'sim') return new SimDriver(board.plant);
  throw new Refusal(
    'noSuchThing',
    `driver ${board.driver} is not built yet; use driver: sim until then`,
    { driver: board.driver },
  );
}
