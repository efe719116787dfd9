import type { Finding, Loaded } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
import { Refusal } from '../shared/errors.ts';
import { EXIT, print, writeOut } from './output.ts';
import type { Operator, Outcome } from './verb.ts';

export interface Whole extends Loaded {
  prop: Prop;
}

/**
 * Reads a prop file; what a verb answers when it has errors is `refused`.
 * @param beside the output is data, or goes to a file: findings go to stderr, as `reportFindings` does
 */
export async function readProp(
  file: string,
  operator: Operator,
  beside: boolean,
): Promise<Whole | { refused: Outcome }> {
  // Loaded only here: `stop` must not wait for a YAML parser.
  const { loadProp } = await import('../prop/load.ts');
  const loaded = await loadProp(file);
  const { prop, findings } = loaded;
  if (prop) return { ...loaded, prop };
  const text = (await reportFindings(findings, file, operator, beside)).join('\n');
  return { refused: { result: { file, findings }, text, exit: EXIT.refused } };
}

/** The findings as lines for the report; none when they go to stderr instead. */
export async function reportFindings(
  findings: readonly Finding[],
  file: string,
  operator: Operator,
  beside: boolean,
): Promise<string[]> {
  const { formatFinding } = await import('../prop/finding.ts');
  const lines = findings.map((finding) => formatFinding(finding, file));
  if (!beside) return lines;
  for (const line of lines) print(operator.io.stderr, line);
  return [];
}

/** The outcome as it is, or written to the file `out`: as text, or the result where --json is asked for. */
export async function writtenTo(
  out: string | undefined,
  outcome: Outcome & { result: { file: string; findings?: readonly Finding[] } },
  operator: Operator,
): Promise<Outcome> {
  if (out === undefined) return outcome;
  const { result, text, exit } = outcome;
  const { file, findings } = result;
  await writeOut(out, `${operator.options.json ? JSON.stringify(result) : text}\n`);
  return {
    result: { file, written: out, ...(findings && { findings }) },
    text: `written to ${out}`,
    ...(exit !== undefined && { exit }),
  };
}

/**
 * Replaces the text of a prop file that must still be as it was read.
 * @param again what to do where it is not
 * @returns where the version before is kept, if it is
 * @throws Refusal where it is not, or cannot be written
 */
export async function replaceProp(
  file: string,
  before: string,
  after: string,
  again: string,
): Promise<string | undefined> {
  const { PropDisk } = await import('../prop/file/prop-disk.ts');
  const { utf8Text } = await import('../shared/utf8.ts');
  const disk = new PropDisk(file);
  const { bytes } = await disk.look();
  const same = bytes !== undefined && utf8Text(bytes) === before;
  const written = same ? await disk.replace(bytes, after) : undefined;
  if (!written)
    throw new Refusal(
      'file.changed-by-hand',
      `${file} was changed meanwhile; nothing was written. ${again}`,
      { file },
    );
  if (written.unsure) throw written.unsure;
  return written.kept?.path;
}

/** `; the previous version is FILE.~3~`; empty where none is kept. */
export function keptText(kept: string | undefined): string {
  return kept === undefined ? '' : `; the previous version is ${kept}`;
}
