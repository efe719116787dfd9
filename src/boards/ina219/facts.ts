import type * as z from 'zod';
import { meterFacts } from '../meter-facts.ts';
import { MAX_BUS_V, RANGE_V } from './registers.ts';

/** A meter of current and voltage on an I2C bus. */
export const ina219 = meterFacts(
  'ina219',
  { rangeV: RANGE_V, maxBusV: MAX_BUS_V },
  { shuntOhm: 0.1, maxA: 3.2 },
);

export type Ina219Board = z.output<ReturnType<typeof ina219.schema>>;
