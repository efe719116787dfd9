import { CODES } from '../shared/errors.ts';
import { REFUSALS } from '../shared/refusals.ts';

const BEGIN = '<!-- refusals: npm run codes writes what stands between these two lines -->';
const END = '<!-- refusals end -->';

/** Every code as a table: with the number of its JSON-RPC error, what it means and what helps. */
function refusalTable(): string {
  const rows = Object.entries(REFUSALS)
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([code, [kind, meaning, remedy]]) => [`\`${code}\``, CODES[kind], meaning, remedy]);
  const head = [
    ['code', 'error', 'meaning', 'remedy'],
    ['---', '---', '---', '---'],
  ];
  return [...head, ...rows].map((row) => `| ${row.join(' | ')} |`).join('\n');
}

/** The text with the table between its two lines rewritten. @throws Error where they are missing */
export function withRefusalTable(text: string): string {
  const begin = text.indexOf(BEGIN);
  const end = text.indexOf(END);
  if (begin < 0 || end < begin) throw new Error('no place for the table of refusals');
  return `${text.slice(0, begin + BEGIN.length)}\n${refusalTable()}\n${text.slice(end)}`;
}
