import { USUAL_LENGTH_M } from '../proposal/usual-length.ts';
import { EXIT, UsageError } from './output.ts';
import { keptText, readProp, replaceProp } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** `sinew wire FILE`: what is missing in the wiring, proposed as additions to the file. */

interface Inputs {
  file: string;
  write?: true;
  length?: number;
  lengths?: Record<string, number>;
}

function metres(text: string): number {
  const value = Number(text.replace(/\s*m$/, ''));
  if (!(value > 0 && value <= 20))
    throw new UsageError(`${text} is not a length; give metres, above 0 and up to 20`);
  return value;
}

export const wireVerb = verb<Inputs>({
  name: 'wire',
  summary:
    'propose the wires, plugs, blocks and fuses that a prop file lacks; add them with --write',
  where: 'line',
  args: [{ name: 'file', doc: 'a prop file' }],
  options: [
    { flags: '--write', doc: 'add them to the file; the previous version is kept beside it' },
    {
      flags: '--length <M>',
      doc: `cable from the board to a channel (m); default: ${USUAL_LENGTH_M}`,
      parse: metres,
    },
    {
      flags: '--lengths <LIST>',
      doc: 'the same for single channels: beak=0.6,tail_1=1.2',
      parse: (text) =>
        Object.fromEntries(
          text.split(',').map((one) => {
            const [, name, length] = /^\s*([^=\s]+)\s*=\s*(\S+)\s*$/.exec(one) ?? [];
            if (name === undefined)
              throw new UsageError(`${one} is not a length of a channel; write beak=0.6`);
            return [name, metres(length!)];
          }),
        ),
    },
  ],
  run: wire,
});

async function wire(inputs: Inputs, operator: Operator): Promise<Outcome> {
  const { file, write, length = USUAL_LENGTH_M, lengths = {} } = inputs;
  const read = await readProp(file, operator, false);
  if ('refused' in read) return read.refused;
  const strange = Object.keys(lengths).find((name) => !Object.hasOwn(read.prop.channels, name));
  if (strange !== undefined) {
    const { didYouMean } = await import('../prop/finding.ts');
    const known = Object.keys(read.prop.channels);
    throw new UsageError(`there is no channel ${strange}; ${didYouMean(strange, known)}`);
  }
  const { proposeWiring } = await import('../proposal/wiring.ts');
  const { edited } = await import('../prop/file/edit.ts');
  const { formatFinding } = await import('../prop/finding.ts');
  const { difference } = await import('../prop/line-difference.ts');
  const wishes = { lengthM: length, lengthsM: lengths };
  const { edits, added, left } = proposeWiring(read.prop, read.raw, wishes);
  const next = edited(read, edits);
  const lines = difference(read.text, next.text);
  const result = { file, added, left, difference: lines, findings: next.findings };
  const report = [
    ...added.map(({ what, why }) => `${what}\n    ${why}`),
    ...(added.length > 0 ? ['', ...lines, ''] : []),
    ...next.findings.map((finding) => formatFinding(finding, file)),
    ...left.map((one) => `yours to decide: ${one}`),
  ];
  const exit = left.length > 0 ? EXIT.refused : EXIT.done;
  const written = write === true && edits.length > 0;
  const kept = written ? await replaceProp(file, read.text, next.text, 'Run it again') : undefined;
  if (edits.length === 0) report.push(`${file}: nothing is missing that can be proposed`);
  else
    report.push(
      CALCULATED,
      written ? `added to ${file}${keptText(kept)}` : 'nothing was written; add --write to add it',
    );
  return {
    result: { ...result, written, ...(kept !== undefined && { kept }) },
    text: report.join('\n'),
    exit,
  };
}

const CALCULATED =
  'These are calculations, not a permit: check them against what you have, and fit the switch that cuts the power first.';
