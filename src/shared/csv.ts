/** What a spreadsheet would take for the beginning of a formula (OWASP, "CSV Injection"). */
const FORMULA = /^[=+\-@\t\r]/;

export type Cell = string | number | undefined;

/**
 * Rows as RFC 4180 has them. The lines end with CR LF, but for the last, which has none yet.
 */
export function csvRows(rows: readonly (readonly Cell[])[]): string {
  return rows.map((row) => row.map(csvCell).join(',')).join('\r\n');
}

/**
 * One cell as RFC 4180 has it (section 2, rules 5 to 7). A text that a spreadsheet would work out as a
 * formula gets an apostrophe in front; a number is not a text.
 */
export function csvCell(value: Cell): string {
  if (typeof value === 'number') return String(value);
  const text = value ?? '';
  const safe = FORMULA.test(text) ? `'${text}` : text;
  return safe !== text || /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
