import type { JournalEntry } from '../api/types.ts';
import type { JournalAnswer, JournalQuery } from '../record/query.ts';
import { journalFolder, readJournal } from '../record/read.ts';
import type { Cell } from '../shared/csv.ts';
import { untilInterrupted } from './follow.ts';
import { exported, exportOption, FOLDER, type Form, mustBeThere } from './kept.ts';
import { print, UsageError } from './output.ts';
import { whole } from './values.ts';
import { type Operator, type Outcome, verb } from './verb.ts';
import { whenText } from './when.ts';

/** The journal: of a daemon, or from the state folder of one that does not run. */

interface Inputs {
  since?: number | string;
  until?: string;
  limit?: number;
  refused?: true;
  search?: string;
  export?: Form;
  folder?: string;
  follow?: true;
}

/** What a daemon answers at once, and what it has at hand without its disk. */
const PAGE = 1000;
const AT_HAND = 500;

export const journalVerbs = [
  verb<Inputs>({
    name: 'journal',
    summary: 'show who asked, what moved, what was refused and why',
    where: 'both',
    args: [],
    options: [
      {
        flags: '--since <WHEN>',
        doc: 'not older than this: yesterday, 14:32, 2h; or only after the entry of this number',
        parse: numberOrTime,
      },
      { flags: '--until <WHEN>', doc: 'only older than this', parse: (text) => whenText(text) },
      {
        flags: '--limit <N>',
        doc: 'the newest N of them (100; all, with a time or --export)',
        parse: whole(1, 1e9),
      },
      { flags: '--refused', doc: 'only what was refused' },
      { flags: '--search <TEXT>', doc: 'only entries with each of these words' },
      exportOption('them'),
      FOLDER,
      { flags: '--follow', doc: 'go on with what happens, until Ctrl-C' },
    ],
    async run(inputs, operator) {
      if (inputs.follow) return follow(inputs, operator);
      const answer = await read(inputs, operator);
      const { entries } = answer;
      if (inputs.export) return exported(inputs.export, answer, () => rowsOf(entries), operator);
      return { result: answer, text: [...entries.map(journalLine), ...notes(answer)].join('\n') };
    },
  }),
];

async function read(inputs: Inputs, operator: Operator): Promise<JournalAnswer> {
  const { since, until, refused, search, folder } = inputs;
  const query: JournalQuery = {
    ...(typeof since === 'number' ? { since } : since !== undefined && { from: since }),
    ...(until !== undefined && { until }),
    ...(refused && { refused }),
    ...(search !== undefined && { search }),
  };
  const isBounded = inputs.export === undefined && typeof since !== 'string' && until === undefined;
  const limit = inputs.limit ?? (isBounded ? 100 : Number.POSITIVE_INFINITY);
  if (folder !== undefined) {
    await mustBeThere(journalFolder(folder), `journal in ${folder}`);
    return readJournal(journalFolder(folder), { ...query, limit });
  }
  let answer: JournalAnswer = { entries: [] };
  // With "before" a daemon reads its disk as well.
  let before = limit > AT_HAND ? Number.MAX_SAFE_INTEGER : undefined;
  for (;;) {
    const left = limit - answer.entries.length;
    const page = await operator.call('journal.read', {
      ...query,
      ...(before !== undefined && { before }),
      limit: Math.min(left, PAGE),
    });
    answer = joined(page as JournalAnswer, answer);
    before = page.entries[0]?.seq;
    if (page.entries.length < PAGE || left <= PAGE || before === undefined || before <= 1) break;
  }
  return answer;
}

/** An answer about older entries, and one about newer ones. */
function joined(older: JournalAnswer, newer: JournalAnswer): JournalAnswer {
  const lost = (older.lost ?? 0) + (newer.lost ?? 0);
  const damaged = Math.max(older.damaged ?? 0, newer.damaged ?? 0);
  return {
    entries: [...older.entries, ...newer.entries],
    ...(lost > 0 && { lost }),
    ...(damaged > 0 && { damaged }),
  };
}

async function follow(inputs: Inputs, operator: Operator): Promise<Outcome> {
  const { since } = inputs;
  if (operator.inSession)
    throw new UsageError('--follow works on the command line; open a second terminal for it');
  for (const other of ['folder', 'export', 'until', 'refused', 'search'] as const)
    if (inputs[other] !== undefined)
      throw new UsageError(`--follow and --${other} do not go together`);
  const client = await operator.client();
  const { stdout } = operator.io;
  let last = typeof since === 'number' ? since : 0;
  const early: JournalEntry[] = [];
  const printEntry = (entry: JournalEntry) => {
    if (entry.seq <= last) return;
    last = entry.seq;
    print(stdout, operator.options.json ? JSON.stringify(entry) : journalLine(entry));
  };
  let hear = (entry: JournalEntry): unknown => early.push(entry);
  client.on('event', (entry) => hear(entry));
  await operator.call('state.follow', { hz: 1, journal: true });
  const { entries } = await read(inputs, operator);
  // What happened while the answer was on its way comes after it.
  for (const entry of [...entries, ...early]) printEntry(entry);
  hear = printEntry;
  return untilInterrupted(operator);
}

function numberOrTime(text: string): number | string {
  return /^\d+$/.test(text) ? whole(0, 1e15)(text) : whenText(text);
}

function journalLine({ seq, time, who, what, text, count = 1 }: JournalEntry): string {
  const more = count > 1 ? ` (the last of ${count})` : '';
  return `${seq}  ${time}  ${who}  ${what}  ${text}${more}`;
}

/** What is missing. */
function notes({ lost = 0, damaged = 0 }: JournalAnswer): string[] {
  return [
    ...(lost > 0
      ? [`not kept, for want of room on the disk or in a flood of requests: ${lost}`]
      : []),
    ...(damaged > 0 ? [`damaged on the disk, and left out: ${damaged}`] : []),
  ];
}

const COLUMNS = ['number', 'time', 'who', 'what', 'text', 'count', 'tick', 'values'];

/** With a first row of names. */
function rowsOf(entries: readonly JournalEntry[]): Cell[][] {
  const rows = entries.map(({ seq, time, who, what, text, count, tick, values }) => [
    ...[seq, time, who, what, text, count, tick],
    values && JSON.stringify(values),
  ]);
  return [COLUMNS, ...rows];
}
