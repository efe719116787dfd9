import type * as z from 'zod';
import { loadingError } from '../../sums/divider.ts';
import type { BoardFacts, BoardNotes, SenseUse, Z } from '../facts.ts';
import { type I2cPlace, lintAddress, placeKeys, SENSING } from '../on-i2c.ts';
import { INPUTS, inputOhm } from './registers.ts';

/** Addresses and supply: TI ADS1115 data sheet SBAS444D, from memory. */
const schema = (z: Z) =>
  z.strictObject({
    driver: z.literal('ads1115'),
    ...placeKeys(z, 0x48, 0x4b),
    vddV: z
      .number({ error: 'is not a number; give the supply of the chip in volts, 3.3 or 5' })
      .min(2, { error: 'is below the 2 V that the chip needs; give volts, such as 3.3' })
      .max(5.5, { error: 'is above the 5.5 V that the chip withstands; give volts, such as 5' })
      .default(3.3)
      .describe(
        'supply of the chip (VDD, V): no input may be higher. Feed it from the 3.3 V of the header, so that its I2C lines suit the header',
      ),
  });

export type Ads1115Board = z.output<ReturnType<typeof schema>>;

/** Share of a voltage that a source's resistance may take away before check says so. */
const MOST_LOADING = 0.01;

/** Four analogue inputs on an I2C bus. */
export const ads1115 = {
  schema,
  ...SENSING,
  setUp: {
    about: 'four analogue inputs on the I2C bus',
    most: 0,
    entry: () => ({ driver: 'ads1115' }),
    canBeCut: false,
  },
  addresses: [0x48, 0x49, 0x4a, 0x4b],
  measures: ({ vddV = 3.3 }) => ({ quantities: ['volts'], inputs: INPUTS, inputV: vddV }),
  lintBoard: lintAddress,
  lintSense,
} as const satisfies BoardFacts<Ads1115Board, I2cPlace>;

function lintSense(use: SenseUse, { vddV }: Ads1115Board, notes: BoardNotes): void {
  const { path, maxV = vddV, sourceOhm } = use;
  if (maxV > vddV)
    notes.error(
      path,
      `up to ${maxV.toFixed(2)} V come to an input of board ${use.board}, and its chip has a supply of ${vddV} V: that destroys it`,
      'fit a divider, and give its resistors with divider:',
    );
  const loss = sourceOhm === undefined ? 0 : loadingError(sourceOhm, inputOhm(maxV));
  if (loss > MOST_LOADING)
    notes.warning(
      path,
      `the input takes ${(loss * 100).toFixed(1)} % of the voltage away, with ${Math.round(sourceOhm! / 1000)} kohm before it`,
      'use smaller resistors in the divider',
    );
}
