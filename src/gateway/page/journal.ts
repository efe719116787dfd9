import type { JournalEntry } from '../../api/types.ts';

/**
 * The newest `most` entries once another has come. One that is known by its seq is told again and stays
 * in its place; another that counts others takes the place of the last of them.
 */
export function withEntry(
  entries: readonly JournalEntry[],
  entry: JournalEntry,
  most: number,
): JournalEntry[] {
  if (entries.some(({ seq }) => seq === entry.seq))
    return entries.map((one) => (one.seq === entry.seq ? entry : one));
  const same = (one: JournalEntry) => one.who === entry.who && one.text === entry.text;
  const replaced = entry.count === undefined ? undefined : entries.findLast(same);
  return [...entries.filter((one) => one !== replaced), entry].slice(-most);
}
