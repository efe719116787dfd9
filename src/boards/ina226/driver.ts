import { Meter } from '../meter.ts';
import { SensingDriver, type SensingSurroundings } from '../sensing.ts';
import type { Ina226Board } from './facts.ts';
import { ina226Chip } from './registers.ts';

/** The driver of an INA226, not yet open. */
export function create(board: Ina226Board, around?: SensingSurroundings): SensingDriver {
  return new SensingDriver(
    'ina226',
    board,
    new Meter(ina226Chip(board.shuntOhm), board.shuntOhm),
    around,
  );
}
