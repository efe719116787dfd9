/** One measured row: how it stands to its baseline, measured in the same run. */
export interface Row {
  measure: string;
  /** What was measured, run by run, with the unit in the name of the measure. */
  values: readonly number[];
  baselines: readonly number[];
  baselineName: string;
  /** The quantile of both that counts; the median without it. */
  at?: number;
  target: Target;
  /** Why a target that is missed cannot be met here, or what else there is to say. */
  note?: string | undefined;
  /** How the figure changes on a board with cores four times as slow; times by four without it. */
  slower?: 'same' | 'a quarter';
}

/** The ratio, or the value itself, at most or at least. */
export type Target = { ratio: number } | { ratioAtLeast: number } | { value: number };

/** The smallest value that is not below a share `q` of all of them. */
export function quantile(values: readonly number[], q: number): number {
  const sorted = values.toSorted((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))]!;
}

export function median(values: readonly number[]): number {
  return quantile(values, 0.5);
}

const number = (value: number) => {
  if (value !== 0 && Math.abs(value) < 0.01) return value.toExponential(1);
  return value >= 100 ? value.toFixed(0) : value.toPrecision(3);
};

/** Half of what lies between the quartiles, as a share of the median. */
function spread(values: readonly number[]): string {
  if (values.length < 3) return '';
  const half = (quantile(values, 0.75) - quantile(values, 0.25)) / 2;
  const middle = median(values);
  return middle === 0 ? '' : ` ±${Math.round((100 * half) / Math.abs(middle))} %`;
}

export const HEAD = ['measure', 'here', 'baseline', 'ratio', 'target', '', 'cores 4 x slower'];

export interface Line {
  cells: string[];
  met: boolean;
  note?: string | undefined;
}

export function lineOf(row: Row): Line {
  const { measure, values, baselines, baselineName, at = 0.5, target, slower } = row;
  const value = quantile(values, at);
  const baseline = quantile(baselines, at);
  const ratio = value / baseline;
  const [met, wanted] =
    'ratio' in target
      ? [ratio <= target.ratio, `ratio ≤ ${target.ratio}`]
      : 'ratioAtLeast' in target
        ? [ratio >= target.ratioAtLeast, `ratio ≥ ${target.ratioAtLeast}`]
        : [value <= target.value, `≤ ${number(target.value)}`];
  const factor = slower === 'same' ? 1 : slower === 'a quarter' ? 1 / 4 : 4;
  const rate = 'ratioAtLeast' in target ? 1 / 4 : factor;
  return {
    cells: [
      measure,
      number(value) + (at === 0.5 ? spread(values) : ''),
      `${number(baseline)} (${baselineName})`,
      baseline === 0 ? '-' : number(ratio),
      wanted,
      met ? 'met' : 'MISSED',
      number(value * (slower ? factor : rate)),
    ],
    met,
    note: row.note,
  };
}

/** For a terminal. */
export function plain(lines: readonly Line[]): string {
  const rows = [HEAD, ...lines.map(({ cells }) => cells)];
  const widths = HEAD.map((_, column) => Math.max(...rows.map((cells) => cells[column]!.length)));
  const text = rows.map((cells) =>
    cells
      .map((cell, column) => cell.padEnd(widths[column]!))
      .join('  ')
      .trimEnd(),
  );
  const notes = lines.flatMap(({ cells, note }) => (note ? [`${cells[0]}: ${note}`] : []));
  return [...text, ...(notes.length > 0 ? ['', ...notes] : [])].join('\n');
}

/** For the README. */
export function markdown(lines: readonly Line[]): string {
  const row = (cells: readonly string[]) => `| ${cells.join(' | ')} |`;
  const notes = lines.flatMap(({ cells, note }) => (note ? [`- ${cells[0]}: ${note}`] : []));
  return [
    row(HEAD),
    row(HEAD.map(() => '---')),
    ...lines.map(({ cells }) => row(cells)),
    ...(notes.length > 0 ? ['', ...notes] : []),
  ].join('\n');
}
