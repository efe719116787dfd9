import type { Finding, Loaded } from '../prop/load.ts';
import type { Prop } from '../prop/schema.ts';
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
