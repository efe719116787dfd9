import { Meter } from '../meter.ts';
import { SensingDriver, type SensingSurroundings } from '../sensing.ts';
import type { Ina219Board } from './facts.ts';
import { ina219Chip } from './registers.ts';

/** The driver of an INA219, not yet open. */
export function create(board: Ina219Board, around?: SensingSurroundings): SensingDriver {
  const { shuntOhm, maxA } = board;
  return new SensingDriver(
    'ina219',
    board,
    new Meter(ina219Chip(shuntOhm, maxA), shuntOhm),
    around,
  );
}
