import { basename } from 'node:path';
import { Refusal } from '../shared/errors.ts';
import type { Measured } from './book/acceptance-checks.ts';
import { UsageError, writeOut } from './output.ts';
import { readProp, type Whole } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';
import { dateText } from './when.ts';

/** What to hand over with a prop: its book, and the sheet of its acceptance. */

interface Inputs {
  file: string;
  out: string;
  with?: 'acceptance';
  date?: string;
  daemon?: true;
}

const OUT = { flags: '--out <HTML>', doc: 'the file to write', required: true as const };
const DATE = {
  flags: '--date <DATE>',
  doc: 'the date that it says, such as 2026-05-04; without it, it says none',
  parse: dateText,
};
const DAEMON = {
  flags: '--daemon',
  doc: 'fill in what the daemon measures that runs this prop file (at --host)',
};

interface Found {
  measured: Measured;
  sentences: string[];
}

/** What the daemon measures. @throws Refusal where it runs another prop */
async function asked(read: Whole, version: string, operator: Operator): Promise<Found> {
  const opened = await operator.connect();
  const { prop } = read;
  if (opened.prop !== prop.name)
    throw new Refusal(
      'daemon.other-prop',
      `the daemon runs ${opened.prop}, and the file is of ${prop.name}; give the daemon of this prop with --host`,
      { prop: opened.prop },
    );
  const { fixed } = await import('../prop/senses.ts');
  const { valueText } = await import('./senses-text.ts');
  const { channels } = await operator.call('channel.list', {});
  const { senses, rails } = await operator.call('sense.list', {});
  const servos = Object.entries(channels).flatMap(([name, { measuredDeg }]) =>
    measuredDeg === undefined ? [] : [[name, `now ${fixed(measuredDeg, 1)} deg`]],
  );
  const supplies = Object.entries(rails).flatMap(([name, { measuredA, measuredV }]) => {
    const found = [
      ...(measuredV === undefined ? [] : [`${measuredV.toFixed(2)} V`]),
      ...(measuredA === undefined ? [] : [`${fixed(measuredA, 2)} A`]),
    ];
    return found.length === 0 ? [] : [[name, `now ${found.join(', ')}`]];
  });
  return {
    measured: {
      rails: Object.fromEntries(supplies),
      senses: Object.fromEntries(
        Object.entries(senses).map(([name, one]) => [name, `now ${valueText(one)}`]),
      ),
      servos: Object.fromEntries(servos),
    },
    sentences: [
      opened.version === version
        ? 'It runs this version of the file.'
        : `It runs ANOTHER version of the file: ${opened.version}. The checks below are of ${version}.`,
      `It was ${operator.conditionText} when it was asked.`,
    ],
  };
}

async function sheetOf(read: Whole, { date, daemon }: Inputs, operator: Operator) {
  const { versionOf } = await import('../prop/file/version.ts');
  const { acceptanceOf } = await import('./book/acceptance-checks.ts');
  const version = versionOf(read.text);
  const found = daemon ? await asked(read, version, operator) : undefined;
  return {
    ...{ prop: read.prop.name, file: basename(read.file), version, date },
    program: operator.options.program,
    parts: acceptanceOf(read.prop, found?.measured),
    daemon: found?.sentences ?? [],
  };
}

async function acceptance(inputs: Inputs, operator: Operator): Promise<Outcome> {
  const { file, out } = inputs;
  const read = await readProp(file, operator, true);
  if ('refused' in read) return read.refused;
  const view = await sheetOf(read, inputs, operator);
  const { acceptanceHtml } = await import('./book/book-drawn.tsx');
  return written(out, { ...view }, acceptanceHtml(view));
}

async function book(inputs: Inputs, operator: Operator): Promise<Outcome> {
  const { file, out } = inputs;
  if (inputs.daemon && inputs.with !== 'acceptance')
    throw new UsageError('--daemon is for the acceptance sheet; add --with acceptance');
  const read = await readProp(file, operator, true);
  if ('refused' in read) return read.refused;
  const sheet = await sheetOf(read, inputs, operator);
  const { bookHtml } = await import('./book/book-drawn.tsx');
  const { html, missing } = await bookHtml(read, sheet, inputs.with === 'acceptance');
  const { version, program } = sheet;
  return written(out, { file: sheet.file, version, program, missing }, html, missing);
}

/** Written as text in any case: `--json` says only what was written. */
async function written(
  out: string,
  result: Record<string, unknown>,
  text: string,
  missing: readonly string[] = [],
): Promise<Outcome> {
  await writeOut(out, `${text}\n`);
  const lines = missing.map((one) => `note: not in it: ${one}`);
  return {
    result: { ...result, written: out },
    text: [`written to ${out}; print it from a browser, on A4 or Letter`, ...lines].join('\n'),
  };
}

export const bookVerbs = [
  verb<Inputs>({
    name: 'book',
    summary:
      'write the book of a prop, to print: hazards, cues, wiring, limits, parts, upkeep, fault-finding',
    where: 'both',
    args: [{ name: 'file', doc: 'a prop file' }],
    options: [
      OUT,
      {
        flags: '--with <PART>',
        doc: 'add a part: acceptance, the acceptance sheet',
        choices: ['acceptance'],
      },
      DATE,
      DAEMON,
    ],
    run: book,
  }),
  verb<Inputs>({
    name: 'acceptance',
    summary: 'write the acceptance sheet of a prop, to do with a person watching and to sign',
    where: 'both',
    args: [{ name: 'file', doc: 'a prop file' }],
    options: [OUT, DATE, DAEMON],
    run: acceptance,
  }),
];
