import type { JournalEntry } from '../../api/types.ts';

/** The times of entries, as they are shown. */
export const clockTime = new Intl.DateTimeFormat(undefined, {
  hour: '2-digit',
  minute: '2-digit',
  second: '2-digit',
  hourCycle: 'h23',
});

const wholeDay = new Intl.DateTimeFormat(undefined, {
  weekday: 'long',
  day: 'numeric',
  month: 'long',
  year: 'numeric',
});

/** The day of an entry, here where the page is. */
export function dayOf(time: string): string {
  return wholeDay.format(new Date(time));
}

/** The entries of the daemon that runs now: ticks begin again with each one. */
export function ofThisRun(entries: readonly JournalEntry[]): JournalEntry[] {
  let from = Math.max(0, entries.length - 1);
  while (from > 0 && entries[from - 1]!.tick <= entries[from]!.tick) from--;
  return entries.slice(from);
}

const dayAndMonth = new Intl.DateTimeFormat(undefined, { day: 'numeric', month: 'short' });

/** The time of an entry, with its date where that is not today's. */
export function dateTime(time: string, now = new Date()): string {
  const then = new Date(time);
  const clock = clockTime.format(then);
  return then.toDateString() === now.toDateString()
    ? clock
    : `${dayAndMonth.format(then)}, ${clock}`;
}

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
