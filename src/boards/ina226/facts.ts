import type * as z from 'zod';
import { meterFacts } from '../meter-facts.ts';
import { MAX_BUS_V, RANGE_V } from './registers.ts';

/** A meter of current and voltage on an I2C bus. */
export const ina226 = meterFacts(
  'ina226',
  { rangeV: RANGE_V, maxBusV: MAX_BUS_V },
  { shuntOhm: 0.1, maxA: 0.8 },
);

export type Ina226Board = z.output<ReturnType<typeof ina226.schema>>;
