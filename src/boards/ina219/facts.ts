import type * as z from 'zod';
import type { BoardFacts, SchemaParts, Z } from '../facts.ts';
import { lintMeter, lintMeterSense, meterKeys, meterMeasures } from '../meter-facts.ts';
import { type I2cPlace, SENSING } from '../on-i2c.ts';
import { EVERY_MS, MAX_BUS_V, RANGE_V } from './registers.ts';

const schema = (z: Z, parts: SchemaParts) =>
  z.strictObject({ driver: z.literal('ina219'), ...meterKeys(z, parts) });

export type Ina219Board = z.output<ReturnType<typeof schema>>;

const RANGE = { rangeV: RANGE_V, maxBusV: MAX_BUS_V, everyMs: EVERY_MS };

/** A meter of current and voltage on an I2C bus. */
export const ina219 = {
  schema,
  ...SENSING,
  setUp: {
    about: 'a meter of current and voltage on the I2C bus, up to 26 V',
    most: 0,
    entry: () => ({ driver: 'ina219', shuntOhm: 0.1, maxA: 3.2 }),
    canBeCut: false,
  },
  measures: (board) => meterMeasures(board, RANGE),
  lintBoard: (name, board, notes) => lintMeter(name, board, RANGE, notes),
  lintSense: (use, board, notes) => lintMeterSense(use, board, RANGE, notes),
} as const satisfies BoardFacts<Ina219Board, I2cPlace>;
