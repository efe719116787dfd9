/** One measured row: how it stands to its baseline, measured in the same run. */
export interface Row {
  measure: string;
  /** Medians, with the unit in the name of the measure. */
  value: number;
  baseline: number;
  baselineName: string;
  /** Largest value that is good enough: of the ratio, or of the value itself. */
  target: { ratio: number } | { value: number };
}

export function median(values: readonly number[]): number {
  const sorted = values.toSorted((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)]!;
}

const number = (value: number) => (value >= 100 ? value.toFixed(0) : value.toPrecision(3));

/** Prints the rows as a table; returns false when a target is missed. */
export function print(rows: readonly Row[]): boolean {
  let good = true;
  const lines = [['measure', 'median', 'baseline', 'ratio', 'target', '']];
  for (const row of rows) {
    const ratio = row.value / row.baseline;
    const met = 'ratio' in row.target ? ratio <= row.target.ratio : row.value <= row.target.value;
    good &&= met;
    lines.push([
      row.measure,
      number(row.value),
      `${number(row.baseline)} (${row.baselineName})`,
      ratio.toFixed(2),
      'ratio' in row.target ? `ratio ${row.target.ratio}` : number(row.target.value),
      met ? 'met' : 'MISSED',
    ]);
  }
  const widths = lines[0]!.map((_, column) =>
    Math.max(...lines.map((line) => line[column]!.length)),
  );
  for (const line of lines)
    console.log(
      line
        .map((cell, column) => cell.padEnd(widths[column]!))
        .join('  ')
        .trimEnd(),
    );
  return good;
}
