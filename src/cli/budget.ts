import type { Prop } from '../prop/schema.ts';
import type { RehearsedLoad } from '../rehearsal/rehearsed-load.ts';
import { findingsExit, UsageError } from './output.ts';
import { readProp, reportFindings, writtenTo } from './prop-file.ts';
import { type Operator, type Outcome, verb } from './verb.ts';

interface Inputs {
  file: string;
  cue?: string;
  svg?: true;
  out?: string;
}

export const budgetVerb = verb<Inputs>({
  name: 'budget',
  summary:
    'add up currents, voltage drops, fuses and batteries, at rest, at the worst and in each cue',
  where: 'both',
  args: [{ name: 'file', doc: 'a prop file' }],
  options: [
    { flags: '--cue <NAME>', doc: 'of the cues, this one alone' },
    { flags: '--svg', doc: 'print a picture of the rails during each cue' },
    { flags: '--out <FILE>', doc: 'write it to this file instead' },
  ],
  run: budget,
});

async function budget({ file, cue, svg, out }: Inputs, operator: Operator): Promise<Outcome> {
  if (svg && operator.options.json)
    throw new UsageError('--json is a form by itself; leave out --svg');
  /** Findings stand beside a picture or a file, not in it. */
  const beside = svg === true || out !== undefined;
  const read = await readProp(file, operator, beside);
  if ('refused' in read) return read.refused;
  const { prop, text: source } = read;
  const { budgetOf } = await import('../prop/budget.ts');
  const { budgetFindings } = await import('../prop/lint-budget.ts');
  const { lintMechanics } = await import('../prop/lint-mechanics.ts');
  const { lintVapour } = await import('../prop/lint-vapour.ts');
  const { mechanicsReport, mechanicsText } = await import('./mechanics-text.ts');
  const { CAUTIONS, budgetText } = await import('./budget-text.ts');
  const findings = budgetFindings(prop, source, [lintMechanics, lintVapour]);
  const cues = await rehearsed(prop, cue);
  const findingLines = await reportFindings(findings, file, operator, beside);
  const sums = budgetOf(prop);
  const mechanics = mechanicsReport(prop);
  const result = {
    file,
    ...sums,
    mechanics,
    cues: cues.map(withoutCurves),
    cautions: CAUTIONS,
    findings,
  };
  const exit = findingsExit(findings);
  const text = svg
    ? (await import('./cue-drawn.tsx')).budgetSvg(prop, cues)
    : budgetText(prop.name, sums, cues, mechanicsText(mechanics), findingLines);
  return writtenTo(out, { result, text, exit }, operator);
}

/** Every cue, or the one that was asked for. @throws Refusal when there is no such cue */
async function rehearsed(prop: Prop, only: string | undefined): Promise<RehearsedLoad[]> {
  const { rehearsedLoad } = await import('../rehearsal/rehearsed-load.ts');
  const loads: RehearsedLoad[] = [];
  for (const cue of only === undefined ? Object.keys(prop.cues) : [only])
    loads.push(await rehearsedLoad(prop, cue));
  return loads;
}

/** `sinew rehearse --json` has the values over time. */
function withoutCurves(load: RehearsedLoad) {
  return { ...load, rails: load.rails.map(({ tS, amps, ...figures }) => figures) };
}
