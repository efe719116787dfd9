import { readFile, stat } from 'node:fs/promises';
import { type Finding, formatFinding, inOrder } from '../prop/finding.ts';
import type { Loaded } from '../prop/load.ts';
import { takesSignature } from '../prop/take/take-files.ts';
import { utf8Text } from '../shared/utf8.ts';
import { CheckCache } from './check-cache.ts';
import { findingsExit, print, UsageError, withCount } from './output.ts';
import { readProp } from './prop-file.ts';
import { type Argument, type Operator, type Outcome, verb } from './verb.ts';

const FILE: Argument = { name: 'file', doc: 'a prop file' };

/** As large as a prop file may be (bytes). */
const MAX_BYTES = 1024 * 1024;
/** A prop file whose rehearsal takes longer than this (s) is rehearsed in part. */
const REHEARSAL_S = 20;

interface Inputs {
  file: string;
  rehearsal: boolean;
  firstPower?: true;
  fix?: true;
  yes?: true;
}

export const checkVerb = verb<Inputs>({
  name: 'check',
  summary: 'check a prop file, rehearse all of it, and show all findings',
  where: 'both',
  args: [FILE],
  options: [
    { flags: '--no-rehearsal', doc: 'check only the file, for an editor that checks at each save' },
    {
      flags: '--fix',
      doc: 'make the corrections that have only one right answer: show the difference, and write it once you say yes',
    },
    { flags: '--yes', doc: 'with --fix: write without asking; the previous version is kept' },
    {
      flags: '--first-power',
      doc: 'print the steps for switching this prop on for the first time, with what a meter shows',
    },
  ],
  async run(inputs, operator) {
    const { file, rehearsal } = inputs;
    if (inputs.yes && !inputs.fix) throw new UsageError('--yes needs --fix');
    if (inputs.fix) {
      const { fixFile } = await import('./check-fix.ts');
      return fixFile(file, inputs.yes === true, operator);
    }
    if (inputs.firstPower) return firstPowerOf(file, operator);
    const cache = rehearsal ? CheckCache.of(operator.io.env) : undefined;
    const bytes = cache && (await bytesOf(file));
    const text = bytes && utf8Text(bytes);
    const kept = await cache?.read(text && keyOf(file, text));
    if (kept) return report(file, await withBeside(file, { text: text! }, kept, operator));
    // Loaded only here: `stop` must not wait for a YAML parser.
    const { loadProp } = await import('../prop/load.ts');
    const loaded = await loadProp(file, bytes && (async () => bytes));
    const found = cache ? await wholeCheck(loaded, cache, operator) : loaded.findings;
    return report(file, loaded.prop ? await withBeside(file, loaded, found, operator) : found);
  },
});

/** The steps for the first time; refused where the file has errors. */
async function firstPowerOf(file: string, operator: Operator): Promise<Outcome> {
  const read = await readProp(file, operator, false);
  if ('refused' in read) return read.refused;
  const { FIRST_POWER_CAUTIONS, firstPower, firstPowerText } = await import('./first-power.ts');
  const phases = firstPower(read.prop, file);
  const result = { file, cautions: FIRST_POWER_CAUTIONS, phases };
  return { result, text: firstPowerText(read.prop, phases) };
}

/** What is in a file; undefined where it cannot be read as a prop file, which the check reports. */
async function bytesOf(file: string): Promise<Buffer | undefined> {
  try {
    // A device or a pipe may have no end.
    const { size } = await stat(file);
    return size > 0 && size <= MAX_BYTES ? await readFile(file) : undefined;
  } catch {
    return undefined;
  }
}

/** What the check of the file and its rehearsal find, in the order of the file. */
async function wholeCheck(loaded: Loaded, cache: CheckCache, { io }: Operator): Promise<Finding[]> {
  const { prop, text, findings } = loaded;
  if (!prop) return findings;
  const { rehearseAll } = await import('../rehearsal/rehearse-all.ts');
  const { wholeFindings } = await import('../rehearsal/rehearse-findings.ts');
  const endMs = io.clock.nowMs() + REHEARSAL_S * 1000;
  const done = await rehearseAll(prop, () => io.clock.nowMs() < endMs);
  const all = inOrder([...findings, ...wholeFindings(done, loaded)]);
  if (done.skipped.length === 0) await cache.keep(keyOf(loaded.file, text), all);
  return all;
}

/** What a kept result depends on: the text, and the takes and sounds that are beside the file. */
function keyOf(file: string, text: string): string {
  // Whole words first: to look for their endings at once takes the square of a long word's length.
  const words = new Set(text.match(/[\w.-]+/g));
  const names = [...words].filter((word) => /\.(take|wav|flac|ogg|mp3)$/i.test(word));
  return names.length === 0 ? text : `${text}\n${takesSignature(file, names.sort())}`;
}

/** With what is wrong with the picture and the sounds beside a file without errors. */
async function withBeside(
  file: string,
  of: Pick<Loaded, 'text'> & Partial<Loaded>,
  findings: readonly Finding[],
  operator: Operator,
): Promise<readonly Finding[]> {
  const found = await withPicture(file, of, findings, operator);
  if (!/^sounds\b/m.test(of.text)) return found;
  const { soundFindings } = await import('./check-sounds.ts');
  return inOrder([...found, ...(await soundFindings(file, of))]);
}

/** With what is wrong with the picture beside a file without errors, if it names one. */
async function withPicture(
  file: string,
  of: Pick<Loaded, 'text'> & Partial<Loaded>,
  findings: readonly Finding[],
  { io }: Operator,
): Promise<readonly Finding[]> {
  if (!/\bpicture\b/.test(of.text)) return findings;
  const { pictureFindings } = await import('./check-picture.ts');
  const { findings: ofPicture, missing } = await pictureFindings(file, of);
  if (missing !== undefined)
    print(
      io.stderr,
      `${missing} is not beside ${file}: until it is there, the page draws the prop's groups instead`,
    );
  return inOrder([...findings, ...ofPicture]);
}

function report(file: string, findings: readonly Finding[]): Outcome {
  const lines = findings.map((finding) => formatFinding(finding, file));
  const text = findings.length === 0 ? [`${file}: no findings`] : withCount(lines);
  return { result: { file, findings }, text: text.join('\n'), exit: findingsExit(findings) };
}
