import { shuntV, shuntW } from '../sums/shunt.ts';
import type { BoardFacts, BoardNotes, SchemaParts, SenseUse, Z } from './facts.ts';
import { SLACK } from './meter-registers.ts';
import { type I2cPlace, lintAddress, placeKeys, SENSING } from './on-i2c.ts';

/** A board with a meter, as the prop file has it. */
interface MeterBoard extends I2cPlace {
  shuntOhm: number;
  maxA: number;
  shuntW?: number | undefined;
}

/** What a meter's chip can measure. */
interface MeterRange {
  /** The highest voltage at the shunt (V). */
  rangeV: number;
  /** The highest voltage at the bus input (V). */
  maxBusV: number;
}

/**
 * The facts of a driver whose boards are meters on an I2C bus.
 * @param usual a usual board, for a new prop
 */
export function meterFacts<Driver extends string>(
  driver: Driver,
  range: MeterRange,
  usual: { shuntOhm: number; maxA: number },
) {
  return {
    schema: (z: Z, parts: SchemaParts) =>
      z.strictObject({ driver: z.literal(driver), ...meterKeys(z, parts) }),
    ...SENSING,
    setUp: {
      about: `a meter of current and voltage on the I2C bus, up to ${range.maxBusV} V`,
      most: 0,
      entry: () => ({ driver, ...usual }),
      canBeCut: false,
    },
    // Not 0x40 first, which a new PCA9685 has, nor those of an ADS1115.
    addresses: [0x45, 0x44, 0x41, 0x40, 0x46, 0x47, 0x4c, 0x4d, 0x4e, 0x4f],
    measures: ({ shuntOhm, shuntW }) => ({
      ...{ quantities: ['current', 'volts'], inputs: 0 },
      ...{ inputV: range.maxBusV, shuntOhm, shuntW },
    }),
    lintBoard: (name, board, notes) => lintMeter(name, board, range, notes),
    lintSense: (use, board, notes) => lintMeterSense(use, board, range, notes),
  } as const satisfies BoardFacts<MeterBoard, I2cPlace>;
}

/** The keys of a meter in a board's schema; addresses by both chips' data sheets, from memory. */
function meterKeys(z: Z, { positive, part }: SchemaParts) {
  return {
    ...placeKeys(z, 0x40, 0x4f),
    part: part.optional(),
    shuntOhm: positive(
      'ohm',
      'resistance of the shunt (ohm), as it is printed on it: R100 is 0.1, R010 is 0.01, R002 is 0.002',
    ),
    maxA: positive(
      'A',
      'highest current that is to be measured (A); the shunt times this must be within the range of the chip',
    ),
    shuntW: positive(
      'W',
      'power rating of the shunt (W); without it, check does not judge its heat',
    ).optional(),
  };
}

/** A number with as many digits as a message needs. */
const short = (value: number) => String(Number(value.toPrecision(3)));

/** Reports what is wrong with a meter by itself. */
function lintMeter(
  name: string,
  board: MeterBoard,
  { rangeV }: MeterRange,
  notes: BoardNotes,
): void {
  lintAddress(name, board, notes);
  const { shuntOhm, maxA } = board;
  if (shuntV(maxA, shuntOhm) > rangeV * SLACK)
    notes.error(
      ['boards', name, 'maxA'],
      `${short(maxA)} A drop ${short(shuntV(maxA, shuntOhm) * 1000)} mV at ${short(shuntOhm)} ohm, and the chip measures up to ${short(rangeV * 1000)} mV`,
      `give ${short(rangeV / shuntOhm)} A or less, or use a shunt of ${short(rangeV / maxA)} ohm or less`,
    );
  lintHeat(name, board, maxA, notes);
}

/** Reports what is wrong with a measurement of a meter. */
function lintMeterSense(
  use: SenseUse,
  board: MeterBoard,
  range: MeterRange,
  notes: BoardNotes,
): void {
  const { quantity, limit, maxV, path, boardPath } = use;
  if (quantity === 'volts' && maxV !== undefined && maxV > range.maxBusV)
    notes.error(
      path,
      `${short(maxV)} V is above the ${range.maxBusV} V that this meter withstands`,
      'measure it with a divider and an analogue input',
    );
  if (quantity !== 'current' || !limit) return;
  lintFuse(use, board, range, notes);
  if (limit.amps <= board.maxA * SLACK) return;
  const mostA = range.rangeV / board.shuntOhm;
  notes.warning(
    boardPath,
    `board ${use.board} measures up to ${short(board.maxA)} A, and rail ${limit.rail} may carry ${short(limit.amps)} A`,
    limit.amps <= mostA * SLACK
      ? `give the board maxA: ${short(limit.amps)}`
      : `use a shunt of ${short(range.rangeV / limit.amps)} ohm or less, and give the board maxA: ${short(limit.amps)}`,
  );
  // What the rail may carry heats it, too.
  lintHeat(use.board, board, limit.amps, notes);
}

/** What a fuse lets through for ever is more than the limit: warns where the shunt does not show or bear it. */
function lintFuse(
  { board: name, limit, boardPath }: SenseUse,
  board: MeterBoard,
  { rangeV }: MeterRange,
  notes: BoardNotes,
): void {
  const { rail, amps, fuseA = 0 } = limit!;
  const { shuntOhm, shuntW: ratedW } = board;
  if (fuseA <= amps) return;
  const lets = `the fuse of rail ${rail} lets ${short(fuseA)} A through`;
  const dropV = shuntV(fuseA, shuntOhm);
  if (dropV > rangeV * SLACK && shuntV(amps, shuntOhm) <= rangeV * SLACK)
    notes.warning(
      boardPath,
      `${lets}, which drop ${short(dropV * 1000)} mV at the shunt of board ${name}, and its chip shows no more than ${short(rangeV * 1000)} mV`,
      `use a shunt of ${short(rangeV / fuseA)} ohm or less, or a smaller fuse that still carries the load`,
    );
  const watts = shuntW(fuseA, shuntOhm);
  // A shunt that gets too hot without the fuse is reported by itself.
  const hottest = shuntW(Math.max(amps, board.maxA), shuntOhm);
  if (ratedW !== undefined && watts > ratedW * SLACK && hottest <= ratedW * SLACK)
    notes.warning(
      boardPath,
      `${lets}, which heat the shunt of ${short(shuntOhm)} ohm with ${short(watts)} W, and it is rated for ${short(ratedW)} W`,
      'use a shunt with less resistance or a higher rating, or a smaller fuse that still carries the load',
    );
}

/** Reports a shunt that gets too hot; not again for more than `maxA`. */
function lintHeat(name: string, board: MeterBoard, amps: number, notes: BoardNotes): void {
  const { shuntOhm, shuntW: ratedW } = board;
  const watts = shuntW(amps, shuntOhm);
  if (ratedW === undefined || watts <= ratedW * SLACK) return;
  if (amps !== board.maxA && shuntW(board.maxA, shuntOhm) > ratedW * SLACK) return;
  notes.error(
    ['boards', name, 'shuntW'],
    `${short(amps)} A heat the shunt of ${short(shuntOhm)} ohm with ${short(watts)} W, and it is rated for ${short(ratedW)} W`,
    `use a shunt with less resistance or a higher rating, or let no more than ${short(Math.sqrt(ratedW / shuntOhm))} A through it`,
  );
}
