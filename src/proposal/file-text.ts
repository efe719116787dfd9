import { flow } from '../prop/edit-text.ts';
import { PARTS } from '../prop/parts.ts';
import { isColoured } from './answers.ts';
import {
  COIL_A,
  type Draft,
  type DraftChannel,
  type LightDraft,
  type RelayDraft,
  type ServoDraft,
  type SoundDraft,
} from './draft.ts';
import { CARD_REASON, SPEAKER, soundCard } from './loudspeaker.ts';
import type { Branch, Supply } from './supplies.ts';

/** The prop file of a proposal, as text with its reasons as comments. */

/** Lines of the file are no longer than this, where a comment can be put above them. */
const WIDTH = 100;

/** Where an editor finds what the file may say, while the daemon runs. */
const SCHEMA_LINE = '# yaml-language-server: $schema=http://127.0.0.1:7420/prop.schema.json';

/** A line with its reason behind it, or above it where both are too long for one line. */
function line(indent: number, code: string, why?: string): string[] {
  const pad = ' '.repeat(indent);
  if (!why) return [pad + code];
  const one = `${pad}${code} # ${why}`;
  return one.length <= WIDTH ? [one] : [...comment(indent, why), pad + code];
}

/** A comment, wrapped. */
function comment(indent: number, text: string): string[] {
  const pad = `${' '.repeat(indent)}#`;
  const lines: string[] = [];
  let now = pad;
  for (const word of text.split(/\s+/)) {
    if (now.length > pad.length && now.length + word.length + 1 > WIDTH) {
      lines.push(now);
      now = pad;
    }
    now += ` ${word}`;
  }
  return [...lines, now];
}

/** An address of a chip is read as it is written on its pads. */
function boardEntry(entry: object): string {
  return flow(entry).replace(
    /\baddress: (\d+)/,
    (_all, address: string) => `address: 0x${Number(address).toString(16)}`,
  );
}

/** The whole file. */
export function fileText(draft: Draft): string {
  const { answers, channels, groups } = draft;
  const sections: string[][] = [
    [
      SCHEMA_LINE,
      '#',
      ...comment(
        0,
        'Proposed by sinew new, each value with its reason. Change what you know better.',
      ),
      ...comment(
        0,
        'What comes from a part is typical of its class, from memory; your data sheets take precedence.',
      ),
      ...comment(0, 'Angles are in deg, pulses in us, currents in A, times in s.'),
      ...comment(
        0,
        'After a change: sinew check FILE. Before power: sinew check FILE --first-power.',
      ),
      '#',
      ...draft.cautions.flatMap((one) => comment(0, one)),
      'sinew: 1',
      `name: ${JSON.stringify(answers.name)}`,
    ],
    [
      ...line(0, 'link: { timeoutMs: 500, onLoss: park }', 'a laptop that falls silent: it parks'),
      ...stopInput(draft),
    ],
    boards(draft),
    rails(draft),
    ['channels:', ...channels.flatMap((one, i) => [...(i > 0 ? [''] : []), ...channel(one)])],
  ];
  if (groups.length > 0)
    sections.push([
      'groups:',
      ...groups.flatMap(({ name, members, why }) => line(2, `${name}: ${flow(members)}`, why)),
    ]);
  sections.push(park(draft), [
    ...comment(0, 'The three dots end the file: without them, it was cut off.'),
    '...',
  ]);
  return `${sections
    .filter((one) => one.length > 0)
    .map((one) => one.join('\n'))
    .join('\n\n')}\n`;
}

function stopInput({ layout }: Draft): string[] {
  if (layout.stopPin === undefined) return [];
  const entry = { board: layout.header, pin: layout.stopPin, normallyClosed: true, category: 1 };
  return [
    ...comment(
      0,
      "The stop button comes on top of a switch that cuts the actuators' power and never replaces it. Its contact rests closed, so that a broken wire stops the prop, too.",
    ),
    `stopInput: ${flow(entry)}`,
  ];
}

function boards({ layout, channels }: Draft): string[] {
  const lines = ['boards:'];
  for (const [name, { entry }] of layout.boards) {
    const pin = layout.enables.get(name);
    const why =
      name === layout.header
        ? layout.why
        : pin === undefined
          ? 'set its address with the solder pads'
          : `set its address with the solder pads; wire its output-enable pin (OE) to GPIO ${pin}, with a pull-up resistor of 10 kohm: it cuts the outputs at a stop and when the bus fails`;
    lines.push(...line(2, `${name}: ${boardEntry(entry)}`, why));
  }
  if (channels.some(({ sound }) => sound))
    lines.push(...line(2, `${SPEAKER}: ${flow(soundCard())}`, CARD_REASON));
  return lines;
}

/** How a supply is called in comments. */
function supplyWords({ id, volts, amps, source, toBuy }: Supply): string {
  return `${id}: ${source === 'battery' ? 'battery' : 'supply'} of ${volts} V, ${amps} A${toBuy ? ' (to buy)' : ''}`;
}

function rails({ plan }: Draft): string[] {
  const used = plan.supplies.filter(({ branches }) => branches.length > 0);
  if (used.length === 0) return [];
  const lines = ['rails:'];
  for (const supply of used) {
    const { branches, source, capacityAh, id } = supply;
    lines.push(...comment(2, supplyWords(supply)));
    if (branches.length > 1)
      lines.push(
        ...comment(
          2,
          `Each rail is a branch of it with a fuse of its own, small enough for thin wires${capacityAh === undefined ? '' : `; the branches share its ${capacityAh} Ah`}.`,
        ),
      );
    for (const [i, branch] of branches.entries()) lines.push(...rail(branch, i));
    if (source === 'battery')
      lines.push(...comment(2, `Fit the fuse of ${id} at the terminal of the pack.`));
  }
  return lines;
}

function rail({ name, limitA, needA, fuseA, supply }: Branch, at: number): string[] {
  const { id, volts, source, capacityAh, branches } = supply;
  const fuse = `F${id.slice(2)}`;
  return [
    `  ${name}:`,
    `    volts: ${volts}`,
    ...line(4, `limitA: ${limitA}`, `${needA} A flow with everything on and starting`),
    `    supply: { plus: ${id}-1, return: ${id}-2 }`,
    ...(fuseA === undefined
      ? []
      : line(
          4,
          `fuse: { ratingA: ${fuseA}, from: ${fuse}-1, to: ${fuse}-${at + 2} }`,
          'a blade fuse, close to the supply',
        )),
    ...(source === 'battery' && capacityAh !== undefined && branches.length === 1
      ? line(4, `battery: { capacityAh: ${capacityAh} }`, 'add emptyV and maxA from its data sheet')
      : []),
  ];
}

/** The kinds of channels that the other lists of the answers are for. */
const KINDS = { moves: 'servo', relays: 'relay', sounds: 'sound' } as const;

function channel(draft: DraftChannel): string[] {
  const { slot, name, place, why, rail, servo, light, relay, sound } = draft;
  const part = light?.part ?? relay?.part ?? (slot.from === 'moves' ? slot.answer.part : undefined);
  const kind = slot.from === 'lights' ? slot.answer.kind : KINDS[slot.from];
  const coloured = slot.from === 'lights' && isColoured(slot.answer);
  const lines = [`  ${name}:`, `    kind: ${kind}`];
  if (part !== undefined) lines.push(...line(4, `part: ${part}`, PARTS[part]!.about));
  const [pin] = place.pins;
  const pins = coloured ? { pins: place.pins } : pin !== undefined && { pin };
  const output = {
    board: place.board,
    ...pins,
    // A driver board has its own ends for the light.
    ...(coloured &&
      light!.through !== 'driver board' && {
        common: light!.through === 'pin' ? 'cathode' : 'anode',
      }),
    ...(relay && slot.from === 'relays' && slot.answer.closesOn === 'low' && { activeLow: true }),
    ...(place.pull && { pull: place.pull }),
  };
  lines.push(...line(4, `output: ${flow(output)}`, why.pin));
  if (light)
    lines.push(
      ...line(4, `through: ${light.through === 'pin' ? 'nothing' : light.through}`, why.through),
    );
  if (rail) lines.push(...line(4, `rail: ${rail.name}`, relay && 'of the relay module'));
  if (slot.place !== undefined) lines.push(...line(4, `place: ${JSON.stringify(slot.place)}`));
  if (servo) lines.push(...servoLines(servo, why));
  if (light) lines.push(...lightLines(light, coloured, why));
  if (relay) lines.push(...relayLines(relay, draft, why));
  if (sound) lines.push(...soundLines(sound, why));
  return lines;
}

function servoLines(servo: ServoDraft, why: Record<string, string>): string[] {
  const { calibration, limitsDeg, marks, park, speedDegS, accelDegS2 } = servo;
  return [
    ...line(4, `calibration: ${flow(calibration)}`, 'not measured: common is 1000 us for 90 deg'),
    ...line(4, `limitsDeg: ${flow(limitsDeg)}`, why.limits),
    ...(speedDegS === undefined
      ? []
      : [
          ...line(4, `speedDegS: ${speedDegS}`, 'you chose it'),
          ...line(4, `accelDegS2: ${accelDegS2}`, 'it reaches its speed in a fifth of a second'),
        ]),
    ...line(4, `marks: ${flow(marks)}`, 'capture the real ones by jogging'),
    ...line(4, `park: ${flow(park)}`, why.park),
  ];
}

function lightLines(
  { resistorOhm }: LightDraft,
  rgb: boolean,
  why: Record<string, string>,
): string[] {
  const ohm = rgb ? flow(resistorOhm) : resistorOhm[0];
  return [
    ...(resistorOhm.length === 0 ? [] : line(4, `led: { resistorOhm: ${ohm} }`, why.led)),
    ...line(4, 'fadeS: 0.2', 'a change from dark to full takes this long at least'),
    ...line(4, `park: { to: ${rgb ? '"#000000"' : '0'} }`, 'dark'),
  ];
}

function relayLines(
  { connector, momentary, onA, duty, vapour, lit, part }: RelayDraft,
  { rail, loadRail }: DraftChannel,
  why: Record<string, string>,
): string[] {
  const own = loadRail && loadRail.name !== rail?.name;
  const contact = {
    mode: momentary ? 'momentary' : 'held',
    ...(own && { rail: loadRail.name }),
    common: `${connector}-COM`,
    open: `${connector}-NO`,
  };
  const draw = {
    ...((part === undefined || !own) && {
      onA: own ? onA : Math.round(1000 * (onA + COIL_A)) / 1000,
    }),
    ...(own && { coilA: COIL_A }),
  };
  return [
    ...line(
      4,
      `contact: ${flow(contact)}`,
      'on the open contact (NO) it has no power while the relay has none',
    ),
    ...line(
      4,
      `draw: ${flow(draw)}`,
      own
        ? `the module, typical; the load takes ${onA} A`
        : `${onA} A of the load, ${COIL_A} A of the module, which is typical`,
    ),
    ...(duty ? line(4, `duty: ${flow(duty)}`, why.duty) : []),
    ...(vapour
      ? line(
          4,
          `vapour: ${flow(vapour)}`,
          'the rate is typical, from memory; measure it: a disc that runs dry breaks',
        )
      : []),
    ...(lit ? line(4, 'light: true', 'it counts when flashes are judged') : []),
    ...line(4, 'park: { to: "off" }'),
  ];
}

function soundLines({ ceiling, fadeOutS }: SoundDraft, why: Record<string, string>): string[] {
  return [
    ...line(4, `ceiling: ${ceiling}`, `${why.ceiling}; loud sound damages hearing`),
    ...line(4, `fadeOutS: ${fadeOutS}`, why.fadeOutS),
    ...line(4, 'park: { to: 0 }', 'silent'),
  ];
}

function park({ channels, deadlineS }: Draft): string[] {
  const of = (from: DraftChannel['slot']['from']) =>
    channels.filter(({ slot }) => slot.from === from).map(({ name }) => name);
  const stages = [[...of('relays'), ...of('sounds')], of('moves')].filter(
    (stage) => stage.length > 0,
  );
  return [
    ...comment(
      0,
      'Stage after stage: relays open and sound fades out first; lights, which are not named, go dark last.',
    ),
    'park:',
    ...(stages.length > 0 ? [`  stages: ${flow(stages)}`] : []),
    ...line(2, `deadlineS: ${deadlineS}`, 'past it, the power is dropped (stop category 0)'),
  ];
}
