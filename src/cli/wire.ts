import { Refusal } from '../shared/errors.ts';
import { EXIT, UsageError } from './output.ts';
import { readProp } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

/** `sinew wire FILE`: what is missing in the wiring, proposed as additions to the file. */

interface Inputs {
  file: string;
  write?: true;
  length?: number;
  lengths?: Record<string, number>;
}

const USUAL_M = 0.5;

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
      doc: `cable from the board to a channel (m); default: ${USUAL_M}`,
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
  const { file, write, length = USUAL_M, lengths = {} } = inputs;
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
  const wishes = { lengthM: length, lengthsM: lengths };
  const { edits, added, left } = proposeWiring(read.prop, read.raw, wishes);
  const next = edited(read, edits);
  const difference = additions(read.text, next.text);
  const result = { file, added, left, difference, findings: next.findings };
  const lines = [
    ...added.map(({ what, why }) => `${what}\n    ${why}`),
    ...(added.length > 0 ? ['', ...difference, ''] : []),
    ...next.findings.map((finding) => formatFinding(finding, file)),
    ...left.map((one) => `yours to decide: ${one}`),
  ];
  const exit = left.length > 0 ? EXIT.refused : EXIT.done;
  if (edits.length === 0)
    return {
      result: { ...result, written: false },
      text: [...lines, `${file}: nothing is missing that can be proposed`].join('\n'),
      exit,
    };
  if (!write)
    return {
      result: { ...result, written: false },
      text: [...lines, CALCULATED, 'nothing was written; add --write to add it'].join('\n'),
      exit,
    };
  const kept = await replaced(file, read.text, next.text);
  const end = `added to ${file}${kept === undefined ? '' : `; the previous version is ${kept}`}`;
  return {
    result: { ...result, written: true, ...(kept !== undefined && { kept }) },
    text: [...lines, CALCULATED, end].join('\n'),
    exit,
  };
}

const CALCULATED =
  'These are calculations, not a permit: check them against what you have, and fit the switch that cuts the power first.';

/** @returns where the version before is kept @throws Refusal where the file is another by now */
async function replaced(file: string, before: string, after: string): Promise<string | undefined> {
  const { PropDisk } = await import('../prop/file/prop-disk.ts');
  const { utf8Text } = await import('../shared/utf8.ts');
  const disk = new PropDisk(file);
  const { bytes } = await disk.look();
  const same = bytes !== undefined && utf8Text(bytes) === before;
  const written = same ? await disk.replace(bytes, after) : undefined;
  if (!written)
    throw new Refusal(
      'file.changed-by-hand',
      `${file} was changed meanwhile; nothing was written. Run it again`,
      { file },
    );
  if (written.unsure) throw written.unsure;
  return written.kept?.path;
}

/** The lines of `after` that `before` does not have, with `+`, and the line that each piece comes after. */
export function additions(before: string, after: string): string[] {
  const old = before.split('\n');
  const lines: string[] = [];
  let at = 0;
  let within = false;
  for (const line of after.split('\n')) {
    if (line === old[at]) {
      at++;
      within = false;
      continue;
    }
    if (!within) lines.push(`@@ after line ${at}`);
    within = true;
    lines.push(`+ ${line}`);
  }
  return lines;
}
