import { SensingDriver, type SensingSurroundings } from '../sensing.ts';
import { Ads1115 } from './chip.ts';
import type { Ads1115Board } from './facts.ts';

/** The driver of an ADS1115, not yet open. */
export function create(board: Ads1115Board, around?: SensingSurroundings): SensingDriver {
  return new SensingDriver('ads1115', board, new Ads1115(board.vddV), around);
}
