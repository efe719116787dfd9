import { factsOf } from '../boards/registry.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { tidy } from '../shared/units.ts';
import { chooseDivider } from '../sums/divider.ts';
import { ServoMapping } from '../sums/servo-mapping.ts';
import { INPUT_CAUTION } from './add-board.ts';
import type { Add } from './change.ts';
import { type Draft, refuse } from './draft.ts';
import { choosePins } from './pins.ts';
import { CONTACT, placeOn } from './sense-places.ts';

const NO_SAFETY = 'A sense is not a safety device: fuse, battery protection and power switch stay.';

type AddSense = Extract<Add, { what: 'sense' }>;
type Of<Kind> = Extract<AddSense, { kind: Kind }>;

/** The supply of a converter whose board does not say what its inputs withstand (V). */
const USUAL_V = 3.3;

/** Adds what is measured, with everything proposed that the person has not said. */
export function addSense(draft: Draft, change: AddSense): void {
  const { name, board } = change;
  draft.mustBeFree('sense', name, Object.keys(draft.section('senses')));
  draft.mustHave('board', 'boards', board);
  switch (change.kind) {
    case 'contact':
      addContact(draft, change);
      return;
    case 'position':
      addPosition(draft, change);
      break;
    case 'level':
      addLevel(draft, change);
      break;
    default:
      addElectric(draft, change);
  }
  draft.cautions.push(NO_SAFETY);
}

/** A voltage or a current; the divider is proposed where one is needed. */
function addElectric(draft: Draft, change: Of<'volts' | 'current'>): void {
  const { name, kind, board, rail, limits = {} } = change;
  const { input, inputV } = inputFor(draft, change);
  if (rail !== undefined) draft.mustHave('rail', 'rails', rail);
  const divider = kind === 'volts' ? dividerFor(draft, rail, inputV) : undefined;
  draft.set(['senses', name], {
    ...{ kind, board },
    ...(input !== undefined && { input }),
    ...(rail !== undefined && { rail }),
    ...(divider && { divider }),
    ...limits,
  });
}

/** The angle of a servo. Its points are a guess with which any voltage is a reading; they are measured later. */
function addPosition(draft: Draft, change: Of<'position'>): void {
  const { name, kind, board, channel } = change;
  draft.mustHave('channel', 'channels', channel);
  const servo = servoOf(draft.prop.channels[channel]!);
  if (!servo) refuse(`${channel} is not a servo, and only servos have an angle; give a servo`, []);
  const other = Object.entries(draft.prop.senses).find(
    ([, sense]) => sense.kind === 'position' && sense.channel === channel,
  );
  if (other)
    refuse(`sense ${other[0]} measures the angle of ${channel} already; give another servo`, [
      `sense ${other[0]}`,
    ]);
  const { input, inputV = USUAL_V } = inputFor(draft, change);
  const [low, high] = new ServoMapping(servo).calibrationDeg.map((deg) => tidy(deg, 1));
  draft.set(['senses', name], {
    ...{ kind, board, input, channel },
    calibration: [
      [0, low],
      [inputV, high],
    ],
  });
  draft.because(
    'calibration',
    `0 V is ${low} deg, ${inputV} V is ${high} deg`,
    'a guess, so that every voltage gives a reading: the whole range of the input for that of the servo',
  );
  draft.cautions.push(
    INPUT_CAUTION,
    `Next: on the page Bench choose ${channel}, then Calibrate the sensor. Until then the angle shown is wrong, and the prop may say that ${channel} did not arrive.`,
  );
}

/** How much there is of something. */
function addLevel(draft: Draft, change: Of<'level'>): void {
  const { name, kind, board, atV, limits = {} } = change;
  const { input, inputV = USUAL_V } = inputFor(draft, change);
  const [none, all] = atV ?? [0, inputV];
  draft.set(['senses', name], {
    ...{ kind, board, input },
    calibration: [
      [none, 0],
      [all, 1],
    ],
    ...limits,
  });
  draft.because(
    'calibration',
    `${none} V is 0 %, ${all} V is 100 %`,
    atV ? 'you chose it' : 'a guess: the whole range of the input',
  );
  draft.cautions.push(INPUT_CAUTION);
  if (!atV)
    draft.cautions.push(
      `Next: open ${name} under Measured. Bring what it measures to its lowest, then to its highest, and press the button for each.`,
    );
}

/** A contact to ground. */
function addContact(draft: Draft, change: Of<'contact'>): void {
  const { name, kind, board, pin, warnWhen } = change;
  const choice = choosePins(draft.prop, [CONTACT], 1, {
    board,
    pins: pin === undefined ? undefined : [pin],
  });
  draft.set(['senses', name], {
    ...{ kind, board, pin: choice.pins[0] },
    ...(warnWhen !== undefined && { warnWhen }),
  });
  draft.because(
    'pin',
    `${board} ${choice.pins[0]}`,
    pin === undefined
      ? 'the first that is free and that check has nothing to say against'
      : 'you chose it',
  );
  if (choice.remark !== undefined) draft.cautions.push(`${choice.remark}.`);
  draft.cautions.push(
    'Wire the contact between the pin and ground, with every supply unplugged. It must carry no voltage of its own.',
    'It is only shown, and stops nothing. To keep the prop from moving while a door is open or somebody is near, use a guard; to stop it, a stop button and a power switch.',
  );
}

/**
 * Where a board measures it: nothing to name on a meter, else the input that is given, or its first free one.
 * @returns also what an input withstands (V)
 * @throws Refusal where there is no place
 */
function inputFor(
  draft: Draft,
  { kind, board, input }: Exclude<AddSense, { kind: 'contact' }>,
): { input: number | undefined; inputV: number | undefined } {
  const spec = draft.prop.boards[board]!;
  const measures = factsOf(spec).measures?.(spec);
  if (!measures) refuse(`board ${board} measures nothing; name a board that does`, []);
  const { inputV, quantities } = measures;
  if (input !== undefined) return { input, inputV };
  const place = placeOn(draft.prop, board, kind);
  const first = place?.inputs?.[0];
  if (place && !place.direct && first !== undefined) {
    draft.because('input', String(first), 'the first that nothing has');
    return { input: first, inputV };
  }
  if (place) return { input: undefined, inputV };
  const at = [`board ${board}`];
  const isMeter = quantities.includes('current');
  if (kind === 'current')
    refuse(
      isMeter
        ? `board ${board} measures another current already; add another meter`
        : `board ${board} has analogue inputs, and nothing says how many amperes a voltage stands for; name a meter, or write the sense with its calibration in the file`,
      at,
    );
  if (measures.inputs === 0 && kind !== 'volts')
    refuse(`board ${board} has no analogue inputs; name a board that has`, at);
  return refuse(`every place of board ${board} is taken; add another board`, at);
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
