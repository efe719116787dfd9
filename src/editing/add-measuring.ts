import type { Measures } from '../boards/facts.ts';
import { type Board, type DriverName, factsOf } from '../boards/registry.ts';
import { MEASURING, measuringPart } from '../prop/measuring-parts.ts';
import type { Prop } from '../prop/schema.ts';
import { chooseDivider } from '../sums/divider.ts';
import type { Add } from './change.ts';
import { type Draft, refuse } from './draft.ts';

/** Where boards that measure are, by common practice. */
const BUS = 1;
/** A shunt stands in the supply's wire. */
const SHUNT_CAUTION =
  'Wire it with every supply unplugged: its shunt goes into the plus of the supply, behind the fuse, and its ground is that of the rail.';
const INPUT_CAUTION =
  'Wire it with every supply unplugged. No input may have more than the supply of the chip: it destroys the chip, and maybe the computer.';
const NO_SAFETY = 'A sense is not a safety device: fuse, battery protection and power switch stay.';

/** Adds a board that only measures: a meter, or a converter with analogue inputs. */
export function addMeter(draft: Draft, change: Extract<Add, { what: 'meter' }>): void {
  const { name, part, bus = BUS } = change;
  draft.mustBeFree('board', name, Object.keys(draft.section('boards')));
  const driver = measuringPart(part);
  if (!driver)
    refuse(`${part} is not a part that measures; use one of ${MEASURING.join(', ')}`, []);
  const address = change.address ?? freeAddress(draft.prop, driver, bus);
  if (address === undefined)
    refuse(`every address of ${part} on I2C bus ${bus} is taken; use another bus`, []);
  draft.set(['boards', name], { driver, ...(part !== driver && { part }), bus, address });
  draft.because(
    'address',
    `0x${address.toString(16)} on bus ${bus}`,
    change.address === undefined
      ? 'the first that no other board has; set it on the board with its solder pads'
      : 'you chose it',
  );
  const { quantities } = factsOf({ driver }).measures!({ driver } as Board);
  draft.cautions.push(!quantities.includes('current') ? INPUT_CAUTION : SHUNT_CAUTION);
}

function freeAddress({ boards }: Prop, driver: DriverName, bus: number): number | undefined {
  const taken = new Set(
    Object.values(boards).flatMap((board) =>
      'address' in board && board.bus === bus ? [board.address] : [],
    ),
  );
  return factsOf({ driver }).addresses?.find((address) => !taken.has(address));
}

/** Adds what is measured; the input and a divider are proposed where they are needed. */
export function addSense(draft: Draft, change: Extract<Add, { what: 'sense' }>): void {
  const { name, kind, board, rail, limits = {} } = change;
  draft.mustBeFree('sense', name, Object.keys(draft.section('senses')));
  draft.mustHave('board', 'boards', board);
  const spec = draft.prop.boards[board]!;
  const measures = factsOf(spec).measures?.(spec);
  if (!measures) refuse(`board ${board} measures nothing; name a board that does`, []);
  if (rail !== undefined) draft.mustHave('rail', 'rails', rail);
  const input = change.input ?? inputFor(draft.prop, board, measures, kind);
  const divider = kind === 'volts' ? dividerFor(draft, rail, measures.inputV) : undefined;
  draft.set(['senses', name], {
    ...{ kind, board },
    ...(input !== undefined && { input }),
    ...(rail !== undefined && { rail }),
    ...(divider && { divider }),
    ...limits,
  });
  if (input !== undefined && change.input === undefined)
    draft.because('input', String(input), 'the first that nothing has');
  draft.cautions.push(NO_SAFETY);
}

/**
 * Where a board measures it: nothing to name on a meter, else its first free input.
 * @throws Refusal where there is none
 */
function inputFor(
  { senses }: Prop,
  board: string,
  { quantities, inputs }: Measures,
  kind: 'volts' | 'current',
): number | undefined {
  const there = Object.values(senses).filter((sense) => sense.board === board);
  const isMeter = quantities.includes('current');
  if (
    isMeter &&
    !there.some((sense) => sense.kind === kind && !('input' in sense && sense.input !== undefined))
  )
    return undefined;
  if (kind === 'current')
    refuse(
      isMeter
        ? `board ${board} measures another current already; add another meter`
        : `board ${board} has analogue inputs, and nothing says how many amperes a voltage stands for; name a meter, or write the sense with its calibration in the file`,
      [`board ${board}`],
    );
  const taken = new Set(there.map((sense) => ('input' in sense ? sense.input : undefined)));
  for (let input = 0; input < inputs; input++) if (!taken.has(input)) return input;
  return refuse(`every place of board ${board} is taken; add another board`, [`board ${board}`]);
}

/** Two resistors where the rail has more than the input withstands. */
function dividerFor(
  draft: Draft,
  rail: string | undefined,
  inputV: number | undefined,
): [number, number] | undefined {
  const spec = rail === undefined ? undefined : draft.prop.rails[rail];
  if (!spec || inputV === undefined) return undefined;
  const sourceV = Math.max(spec.volts, spec.battery?.fullV ?? 0);
  if (sourceV <= inputV) return undefined;
  const divider = chooseDivider(sourceV, inputV);
  if (!divider) refuse(`no divider brings ${sourceV} V down to ${inputV} V`, [`rail ${rail}`]);
  const [upper, lower] = divider;
  draft.because(
    'divider',
    `${upper} and ${lower} ohm`,
    `${rail} has up to ${sourceV} V, and the input withstands ${inputV} V: preferred values (IEC 60063, E24), with which it has less even if both are 5 % off`,
  );
  draft.cautions.push(
    `Solder ${upper} ohm from ${rail} to the input and ${lower} ohm from the input to ground, and measure the input against ground before you connect it: no more than ${inputV} V.`,
  );
  return divider;
}
