import { formatFinding, inOrder } from '../prop/finding.ts';
import { tidy } from '../shared/units.ts';
import { rehearseShow, type ShowRehearsal } from '../show/rehearse-show.ts';
import { findingsExit, table, withCount } from './output.ts';
import { noWords, readShow, type ShowInputs } from './show-read.ts';
import type { Operator, Outcome } from './verb.ts';

/** A rehearsal that takes longer than this (s) is cut short. */
const LONGEST_S = 60;

/** `sinew show rehearse`: all props on one virtual clock. */
export async function rehearseAction(inputs: ShowInputs, { io }: Operator): Promise<Outcome> {
  noWords(inputs);
  const read = await readShow(inputs.file);
  if ('refused' in read) return read.refused;
  const { file, show, props, source } = read;
  const endMs = io.clock.nowMs() + LONGEST_S * 1000;
  const { remarks, ...done } = await rehearseShow(show, props, () => io.clock.nowMs() < endMs);
  const findings = inOrder([...read.findings, ...remarks.map((one) => source!.place(one))]);
  const lines = findings.map((finding) => formatFinding(finding, file));
  const report = rehearsalText(show.name, done);
  const text = [report, '', ...(lines.length === 0 ? ['no findings'] : withCount(lines))];
  return {
    result: { file, ...done, findings },
    text: text.join('\n'),
    exit: findingsExit(findings),
  };
}

function rehearsalText(name: string, done: Omit<ShowRehearsal, 'remarks'>): string {
  const { durationS, cutShort, steps, supplies, light } = done;
  const rows = steps.map(({ atS, prop, act, cue = '', skipped }) => [
    String(atS),
    prop,
    act,
    cue,
    skipped ? 'left out: its condition did not hold' : '',
  ]);
  const loads = supplies.map(({ name: supply, limitA, peakA, peakAtS }) => [
    supply,
    `${tidy(peakA, 2)} A of ${limitA} A`,
    `at ${tidy(peakAtS, 1)} s`,
  ]);
  return [
    `show ${name}: ${tidy(durationS, 1)} s${cutShort ? ', cut short' : ''}`,
    table(['at s', 'prop', 'does', 'cue', ''], rows),
    ...(loads.length > 0 ? ['', table(['supply', 'most', ''], loads)] : []),
    '',
    `all light together: ${light.flashes} flashes and ${light.colourFlashes} of colour in any second, 3 are allowed`,
  ].join('\n');
}
