import type { Finding } from '../prop/finding.ts';
import type { Prop } from '../prop/schema.ts';
import type { Rehearsal } from '../rehearsal/rehearse.ts';
import { EXIT, UsageError, withCount } from './output.ts';
import { readProp, reportFindings, writtenTo } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

interface Inputs {
  file: string;
  cue?: string;
  csv?: true;
  svg?: true;
  out?: string;
}

export const rehearseVerb = verb<Inputs>({
  name: 'rehearse',
  summary: "compute a cue's whole timeline, without hardware",
  where: 'both',
  args: [{ name: 'file', doc: 'a prop file' }],
  options: [
    { flags: '--cue <NAME>', doc: 'the cue' },
    { flags: '--csv', doc: 'print every value, a row every 20 ms, as comma-separated values' },
    { flags: '--svg', doc: 'print a picture of the timeline' },
    { flags: '--out <FILE>', doc: 'write it to this file instead' },
  ],
  run: rehearsal,
});

async function rehearsal(inputs: Inputs, operator: Operator): Promise<Outcome> {
  const { file, cue, csv, svg, out } = inputs;
  if (cue === undefined) throw new UsageError('say which cue: --cue NAME');
  if (csv && svg) throw new UsageError('--csv and --svg do not go together; choose one');
  if ((csv || svg) && operator.options.json)
    throw new UsageError('--json is a form by itself; leave out --csv and --svg');
  /** Messages go where they do not mix with data. */
  const beside = csv === true || svg === true || out !== undefined;
  const read = await readProp(file, operator, beside);
  if ('refused' in read) return read.refused;
  const { rehearse } = await import('../rehearsal/rehearse.ts');
  const done = await rehearse(read.prop, cue);
  const { findingsOf } = await import('../rehearsal/rehearse-findings.ts');
  const findings = findingsOf(done, read);
  const exit = findings.length > 0 ? EXIT.refused : EXIT.done;
  const text = await inForm(inputs, done, read.prop, findings, operator);
  if (beside) await reportFindings(findings, file, operator, true);
  return writtenTo(out, { result: { file, ...done, findings }, text, exit }, operator);
}

async function inForm(
  { file, csv, svg, out }: Inputs,
  done: Rehearsal,
  prop: Prop,
  findings: readonly Finding[],
  operator: Operator,
): Promise<string> {
  if (svg) return (await import('./cue-drawn.tsx')).timeline(done, prop);
  // RFC 4180: CR LF ends every line; the LF of the last one comes with the printing.
  if (csv) return `${(await import('./rehearse-csv.ts')).rehearsalCsv(done)}\r`;
  const { rehearsalText, showsUnicode } = await import('./rehearse-text.ts');
  const report = rehearsalText(done, prop.name, showsUnicode(operator.io.env));
  if (findings.length === 0) return `${report}\n\nno findings`;
  if (out !== undefined) return report;
  const findingLines = await reportFindings(findings, file, operator, false);
  return [report, '', ...withCount(findingLines)].join('\n');
}
