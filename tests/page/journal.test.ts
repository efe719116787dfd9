import { expect, test } from 'vitest';
import type { JournalEntry } from '../../src/api/types.ts';
import { ofThisRun, withEntry } from '../../src/gateway/page/journal.ts';

const entry = (seq: number, text: string, count?: number): JournalEntry => ({
  seq,
  time: '2026-01-01T00:00:00.000Z',
  who: 'prop',
  what: 'cue',
  text,
  tick: 100 * seq,
  ...(count !== undefined && { count }),
});

test('an entry that counts others takes the place of the last of them', () => {
  const blink = entry(1, 'blink');
  const old = entry(2, 'blink', 2);
  const glance = entry(3, 'glance');
  const next = entry(4, 'blink', 3);
  expect(withEntry([blink, old, glance], next, 10)).toEqual([blink, glance, next]);
  // What it counts may be gone already, or be somebody else's.
  expect(withEntry([glance], next, 10)).toEqual([glance, next]);
  const others = { ...old, who: 'desk' };
  expect(withEntry([others], next, 10)).toEqual([others, next]);
});

test('an entry by itself is added, and only the newest are kept', () => {
  const list = [entry(1, 'blink'), entry(2, 'blink')];
  expect(withEntry(list, entry(3, 'blink'), 2).map(({ seq }) => seq)).toEqual([2, 3]);
});

test('an entry that is told again stays in its place, and takes that of no other', () => {
  const list = [entry(1, 'beak to 3'), entry(2, 'beak to 5'), entry(3, 'glance')];
  const again = entry(2, 'beak to 3', 4);
  expect(withEntry(list, again, 10)).toEqual([list[0], again, list[2]]);
});

test('the entries of the daemon that runs now begin where the ticks begin again', () => {
  const at = (seq: number, tick: number) => ({ ...entry(seq, 'x'), tick });
  const all = [at(1, 5), at(2, 900), at(1001, 1), at(1002, 1), at(1003, 40)];
  expect(ofThisRun(all).map(({ seq }) => seq)).toEqual([1001, 1002, 1003]);
  expect(ofThisRun([])).toEqual([]);
});
