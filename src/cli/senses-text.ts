import type { Result } from '../api/methods.ts';
import type { SenseState } from '../api/types.ts';
import { batteryText } from '../prop/battery.ts';
import { fixed, senseText } from '../prop/senses.ts';
import type { SenseKind } from '../prop/senses-schema.ts';
import type { StateParams } from './client.ts';
import { show, table } from './output.ts';
import { verb } from './verb.ts';

type Rails = StateParams['rails'];
type Senses = Result<'sense.list'>['senses'];

/** Rails; measured columns only where something is measured, so that the estimate is never taken for it. */
export function railTable(rails: Rails): string {
  const all = Object.entries(rails);
  if (!all.some(([, rail]) => rail.measuredA !== undefined || rail.measuredV !== undefined))
    return table(
      ['rail', 'amps', 'limit A'],
      all.map(([name, { amps, limitA }]) => [name, amps.toFixed(2), show(limitA)]),
    );
  return table(
    ['rail', 'estimated A', 'measured A', 'difference A', 'measured V', 'limit A'],
    all.map(([name, { amps, measuredA, measuredV, limitA }]) => [
      name,
      amps.toFixed(2),
      measuredA === undefined ? '-' : fixed(measuredA, 2),
      measuredA === undefined ? '-' : signed(measuredA - amps),
      measuredV?.toFixed(2) ?? '-',
      show(limitA),
    ]),
  );
}

/** What is left of batteries, a line for each; empty without one. */
export function batteryLines(rails: Rails): string[] {
  return Object.entries(rails).flatMap(([name, { battery, measuredV }]) => {
    if (!battery) return [];
    const { expectedV } = battery;
    const against =
      expectedV === undefined || measuredV === undefined
        ? ''
        : `; ${measuredV.toFixed(2)} V measured, ${expectedV.toFixed(2)} V estimated under this load`;
    return [`battery of ${name}: ${batteryText(battery)}${against}`];
  });
}

function signed(amps: number): string {
  return `${amps < 0 ? '-' : '+'}${Math.abs(amps).toFixed(2)}`;
}

/** The column of measured angles. */
export const MEASURED = 'measured deg';

/** A table that has the column of measured angles only where an angle is measured. */
export function tableWhereMeasured(heads: string[], rows: string[][]): string {
  const at = heads.indexOf(MEASURED);
  if (rows.some((row) => row[at] !== '')) return table(heads, rows);
  const others = (row: string[]) => row.filter((_, i) => i !== at);
  return table(others(heads), rows.map(others));
}

/** The measured angle of a servo (deg); empty where nothing measures it. */
export function measuredText({ measuredDeg }: { measuredDeg?: number | undefined }): string {
  return measuredDeg === undefined ? '' : fixed(measuredDeg, 1);
}

/** `7.21 V`, `41 %`, `open`, or `not measured`. */
export function valueText({ kind, value }: SenseState): string {
  return value === null ? 'not measured' : senseText(kind, value);
}

/** What is wrong with a sense, in words; empty where nothing is. */
export function troubleText({ low, fault, warning }: SenseState): string {
  return [fault, low, warning].filter((text) => text !== undefined).join('; ');
}

function limitsText(kind: SenseKind, limits: Senses[string]['limits']): string {
  if (kind === 'contact') return '';
  return Object.entries(limits)
    .map(([name, at]) => `${name} ${senseText(kind, at)}`)
    .join(', ');
}

function senseTable(senses: Senses): string {
  const rows = Object.entries(senses).map(([name, sense]) => [
    name,
    sense.kind,
    valueText(sense),
    sense.rail ?? sense.channel ?? '',
    limitsText(sense.kind, sense.limits),
    troubleText(sense),
  ]);
  return table(['sense', 'kind', 'value', 'of', 'limits', ''], rows);
}

export const senseVerbs = [
  verb({
    name: 'senses',
    summary: 'what is measured now, with its limits, and rails as estimated and measured',
    where: 'both',
    args: [],
    async run(_given, operator) {
      const result = await operator.call('sense.list', {});
      const { senses, rails } = result;
      const batteries = batteryLines(rails);
      const isMeasured = Object.keys(senses).length > 0;
      const parts = [
        isMeasured ? senseTable(senses) : 'nothing is measured: the prop file has no senses',
      ];
      if (isMeasured && Object.keys(rails).length > 0) parts.push(railTable(rails));
      if (batteries.length > 0) parts.push(batteries.join('\n'));
      return { result, text: parts.join('\n\n') };
    },
  }),
];
