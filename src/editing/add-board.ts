import { hex } from '../boards/on-i2c.ts';
import { type Board, type DriverName, factsOf, setUpOf } from '../boards/registry.ts';
import { BOARD_PARTS, driverOfPart } from '../prop/board-parts.ts';
import type { Prop } from '../prop/schema.ts';
import type { Add } from './change.ts';
import { type Draft, refuse } from './draft.ts';

/** Where such boards are, by common practice. */
const BUS = 1;
/** A shunt stands in the supply's wire. */
const SHUNT_CAUTION =
  'Wire it with every supply unplugged: its shunt goes into the plus of the supply, behind the fuse, and its ground is that of the rail.';
export const INPUT_CAUTION =
  'Wire it with every supply unplugged. No input may have more than the supply of the chip: it destroys the chip, and maybe the computer.';
const OUTPUT_CAUTION =
  'Wire it with every supply unplugged. Servos get their current from a rail of their own, never from the computer. Wire the output-enable pin of the chip, and give it in enable: without it, nothing cuts the outputs when the bus fails. It is set for servos (50 Hz); lights need another board, with frequencyHz: 1000.';

/** Adds a board on an I2C bus: a meter, a converter with analogue inputs, or one with outputs. */
export function addBoard(draft: Draft, change: Extract<Add, { what: 'board' }>): void {
  const { name, part, bus = BUS } = change;
  draft.mustBeFree('board', name, Object.keys(draft.section('boards')));
  const driver = driverOfPart(part);
  if (!driver)
    refuse(`${part} is not a board on an I2C bus; use one of ${BOARD_PARTS.join(', ')}`, []);
  const address = change.address ?? freeAddress(draft.prop, driver, bus);
  if (address === undefined)
    refuse(`every address of ${part} on I2C bus ${bus} is taken; use another bus`, []);
  const usual = part === driver ? setUpOf(driver).entry(0, 'pulses') : { driver, part };
  draft.set(['boards', name], { ...usual, bus, address });
  draft.because(
    'address',
    `${hex(address)} on bus ${bus}`,
    change.address === undefined
      ? 'the first that no other board has; set it on the board with its solder pads'
      : 'you chose it',
  );
  const measures = factsOf({ driver }).measures?.({ driver } as Board);
  draft.cautions.push(
    !measures
      ? OUTPUT_CAUTION
      : measures.quantities.includes('current')
        ? SHUNT_CAUTION
        : INPUT_CAUTION,
  );
}

function freeAddress({ boards }: Prop, driver: DriverName, bus: number): number | undefined {
  const taken = new Set(
    Object.values(boards).flatMap((board) =>
      'address' in board && board.bus === bus ? [board.address] : [],
    ),
  );
  return factsOf({ driver }).addresses?.find((address) => !taken.has(address));
}
