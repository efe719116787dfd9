import type { LoomWire, MeasuringPart } from '../api/types.ts';
import { partText } from '../drawings/words.ts';
import { SYMPTOMS, type Symptom } from '../prop/symptoms.ts';
import type { Trace } from '../prop/trace.ts';
import { aligned, EXIT } from './output.ts';
import { readProp } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

interface Inputs {
  text: string;
  symptom?: Symptom;
  file?: string;
}

/** Finds wires, and what to check when a channel fails: of the prop that runs, or of a file. */
export const findVerb = verb<Inputs>({
  name: 'find',
  summary:
    'find wires by label, GPIO, pin, purpose, channel, core, colour or connector end; or a fault, with --symptom',
  where: 'both',
  args: [
    {
      name: 'text',
      doc: 'what to look for, in any case; a wire must have every word of it ("" finds all); with --symptom, the channel',
      rest: true,
    },
  ],
  options: [
    {
      flags: '--symptom <S>',
      doc: 'what is wrong with the channel; lists what to check, step by step',
      choices: SYMPTOMS,
    },
    { flags: '--file <FILE>', doc: 'look in this prop file; no daemon is needed' },
  ],
  run: find,
});

async function find({ text, symptom, file }: Inputs, operator: Operator): Promise<Outcome> {
  const read = file === undefined ? undefined : await readProp(file, operator, true);
  if (read && 'refused' in read) return read.refused;
  const prop = read?.prop;
  if (symptom !== undefined) {
    const result = prop
      ? (await import('../prop/trace.ts')).traceFault(prop, text, symptom)
      : await operator.call('loom.trace', { channel: text, symptom });
    return { result, text: traceText(result) };
  }
  const result = prop
    ? (await import('../prop/find-wires.ts')).foundBy(prop, text)
    : await operator.call('loom.find', { text });
  const { wires, parts = [] } = result;
  const found = [...(wires.length > 0 ? [wireList(wires)] : []), ...parts.map(asciiText)];
  if (found.length > 0) return { result, text: found.join('\n') };
  return { result, text: `no wire matches "${text}"`, exit: EXIT.refused };
}

/** For a terminal that can show only ASCII. */
const asciiText = (part: MeasuringPart) => partText(part).replace('→', '->');

/** The steps for a person with a meter in one hand. */
function traceText(trace: Trace): string {
  const {
    channel,
    kind,
    symptom,
    rail,
    fuse,
    through = [],
    wires,
    connectors,
    cautions,
    steps,
    gaps,
  } = trace;
  const list = (title: string, names: readonly string[]) =>
    names.length > 0 ? [`${title}: ${names.join(' ')}`] : [];
  return [
    `${channel} (${kind}): ${symptom}`,
    ...list('rail', rail === undefined ? [] : [rail]),
    ...list('fuse', fuse === undefined ? [] : [fuse]),
    ...list('through', [through.join(', ')].filter(Boolean)),
    ...list('wires', wires),
    ...list('connectors', connectors),
    '',
    ...cautions.map((caution) => `! ${caution}`),
    '',
    ...steps.flatMap(({ power, check, expect, otherwise }, i) => [
      `${i + 1}. [power ${power}] ${check}`,
      `   good: ${expect}`,
      `   else: ${otherwise}`,
    ]),
    ...(gaps.length > 0 ? ['', 'The file does not say:', ...gaps.map((gap) => `- ${gap}`)] : []),
  ].join('\n');
}

/** One line for each wire, and below it one for each of its cores; aligned across all wires. */
function wireList(wires: readonly LoomWire[]): string {
  const heads = aligned(
    wires.map(({ label, channel, rail, gaugeAwg, sectionMm2, lengthM }) => [
      label,
      channel ?? rail ?? '',
      gaugeAwg === undefined ? withUnit(sectionMm2, 'mm2') : withUnit(gaugeAwg, 'AWG'),
      withUnit(lengthM, 'm'),
    ]),
  );
  const cores = aligned(
    wires.flatMap((wire) =>
      wire.cores.map(({ role, colour, from, to }) => [`  ${role}`, colour, from, `-> ${to}`]),
    ),
  );
  return heads
    .flatMap((head, at) => [head, ...cores.splice(0, wires[at]!.cores.length)])
    .join('\n');
}

function withUnit(value: number | undefined, unit: string): string {
  return value === undefined ? '' : `${value} ${unit}`;
}
