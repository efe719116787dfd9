import type * as z from 'zod';
import type { BoardFacts, BoardNotes, PinElectrics, PinUse, SchemaParts, Z } from '../facts.ts';
import { lintAddress, ON_I2C, placeKeys } from '../on-i2c.ts';
import {
  isPulse,
  MAX_HZ,
  MIN_HZ,
  rateProblem,
  rateText,
  realHz,
  stepsOf,
  stepUsOf,
} from './rate.ts';
import { OUTPUTS } from './registers.ts';
import type { Pca9685Place } from './safe.ts';

const schema = (z: Z, { name, pin }: SchemaParts) =>
  z.strictObject({
    driver: z.literal('pca9685'),
    ...placeKeys(z, FIRST_ADDRESS, 0x7f),
    frequencyHz: z.number().min(MIN_HZ).max(MAX_HZ).default(50).describe('PWM frequency (Hz)'),
    oscillatorHz: z
      .number({
        error: 'is not a number; give the frequency of the chip clock in Hz, such as 25.4e6',
      })
      .min(1e6, { error: 'is below 1 MHz; give the frequency of the chip clock in Hz' })
      .max(50e6, { error: 'is above the 50 MHz that the chip can take; give Hz' })
      .default(25e6)
      .describe('frequency of the chip clock (Hz); trim it until a measured pulse is right'),
    vddV: z
      .number({ error: 'is not a number; give the supply of the chip in volts, 5 or 3.3' })
      .min(2.3, { error: 'is below the 2.3 V that the chip needs; give volts, such as 3.3' })
      .max(5.5, { error: 'is above the 5.5 V that the chip withstands; give volts, such as 5' })
      .optional()
      .describe(
        'supply of the chip itself (VDD, V), which is the high level of its outputs; 5 where it is not given. It is not the supply of the servos (V+)',
      ),
    enable: z
      .strictObject({ board: name('board'), pin })
      .optional()
      .describe(
        'pin of another board that is wired to the output-enable pin of the chip (OE, active low): it cuts all outputs when the bus fails, at stop 0 and at the end; fit a pull-up resistor',
      ),
  });

export type Pca9685Board = z.output<ReturnType<typeof schema>>;

/** Of those that a new prop gets; the addresses are set with solder pads. */
const MOST_CHIPS = 8;
const FIRST_ADDRESS = 0x40;
/** Rate of lights in a new prop (Hz): far above what flickers, within what the chip makes. */
const LIGHT_HZ = 1000;

const VDD_V = 5;

/**
 * Electrical properties of an output, by the NXP PCA9685 data sheet rev. 4 (from memory): it sinks 25 mA
 * and sources 10 mA at 5 V (table 1, features; static characteristics: VOL 0.5 V at 25 mA, VOH at -10
 * mA), outputs withstand 5.5 V, and the chip's ground 400 mA (limiting values). At a lower supply it
 * sources less, here in proportion (no source).
 */
function electrics({ vddV }: Pca9685Board): PinElectrics {
  const highV = vddV ?? VDD_V;
  const share = Math.min(1, highV / VDD_V);
  return {
    highV,
    sourceA: 0.01 * share,
    sinkA: 0.025 * share,
    sumA: 0.4,
    maxInputV: 5.5,
    ...(vddV === undefined && { note: ' (with 5 V at VDD; in proportion with 3.3 V)' }),
  };
}

/** A chip with 16 outputs on an I2C bus. */
export const pca9685 = {
  schema,
  setUp: {
    about: 'a board with 16 outputs on the I2C bus, for any computer',
    most: MOST_CHIPS,
    entry: (at, purpose, enable) => ({
      driver: 'pca9685',
      bus: 1,
      address: FIRST_ADDRESS + at,
      frequencyHz: purpose === 'pulses' ? 50 : LIGHT_HZ,
      // Fed by the 3.3 V of the header, so that its I2C lines suit the header's pins.
      vddV: 3.3,
      ...(enable && { enable }),
    }),
    canBeCut: true,
  },
  addresses: Array.from({ length: MOST_CHIPS }, (_, i) => FIRST_ADDRESS + i),
  header: false,
  pins: OUTPUTS,
  word: 'output',
  reservedFor: () => undefined,
  at: (cavity) => ({ pin: cavity }),
  cavityOf: (pin) => pin,
  electrics,
  pulseStepUs: stepUsOf,
  pulseHz: realHz,
  lightHz: realHz,
  enable: ({ enable }) => enable,
  pinSpace: (name) => `board ${name}`,
  ...ON_I2C,
  lintBoard(name, board, notes) {
    lintAddress(name, board, notes);
    const trouble = rateProblem(board);
    if (trouble) notes.error(['boards', name, 'frequencyHz'], ...trouble);
  },
  lintPin,
} as const satisfies BoardFacts<Pca9685Board, Pca9685Place>;

function lintPin(use: PinUse, board: Pca9685Board, notes: BoardNotes): void {
  const { pin, path } = use;
  if (use.input) {
    const right = `wire ${use.input} to a pin of the header`;
    notes.error(use.boardPath, 'a pca9685 has no inputs', right);
    return;
  }
  if (use.enables !== undefined) {
    const wrong = 'a pca9685 cannot enable another: both may be on the bus that fails';
    notes.error(use.boardPath, wrong, 'wire the output-enable pin to a pin of the header');
    return;
  }
  if (pin >= OUTPUTS)
    notes.error(path, `a pca9685 has no output ${pin}`, `use 0 to ${OUTPUTS - 1}`);
  const longestUs = use.pulses?.us[1];
  const fits = longestUs === undefined || isPulse(stepsOf(longestUs, stepUsOf(board)));
  if (!fits && !rateProblem(board))
    notes.error(
      path,
      `a pulse of ${longestUs} us does not fit in a period at ${rateText(board)}`,
      `lower frequencyHz of board ${use.board}; servos commonly take 50`,
    );
  if (use.relay) lintRelay(use, use.relay, board, notes);
  if (use.light) lintLight(use, use.light, board, notes);
}

function lintRelay(
  { path }: PinUse,
  { activeLow, pull }: NonNullable<PinUse['relay']>,
  { enable }: Pca9685Board,
  notes: BoardNotes,
): void {
  if (enable && !activeLow) return;
  if (enable && pull !== 'up') {
    notes.warning(
      path,
      'while the output-enable pin cuts the chip its outputs float, and this relay is released by a high level',
      'fit an external pull-up resistor there',
    );
    return;
  }
  const closes = activeLow
    ? 'the outputs of a pca9685 are low from power-on, so this relay may close until the daemon runs'
    : 'a pca9685 keeps its outputs as they are when its bus fails, a closed relay included';
  notes.warning(
    path,
    closes,
    enable
      ? 'use a pin of the header for a relay'
      : 'use a pin of the header for a relay, or wire the output-enable pin of the chip (enable:)',
  );
}

function lintLight(
  { path, owner }: PinUse,
  { activeLow, pull }: NonNullable<PinUse['light']>,
  { enable }: Pca9685Board,
  notes: BoardNotes,
): void {
  const dark = activeLow ? 'up' : 'down';
  if (enable && pull !== dark)
    notes.warning(
      path,
      `while the output-enable pin cuts the chip its outputs float, and what switches ${owner} may be lit by that`,
      `fit a pull-${dark} resistor of 10 kohm there and write pull: ${dark} in its output`,
    );
  else if (activeLow)
    notes.warning(
      path,
      `the outputs of a pca9685 are low from power-on, and a low level lights ${owner}: it is lit until the daemon runs`,
      'use a driver that lights on a high level',
    );
}
