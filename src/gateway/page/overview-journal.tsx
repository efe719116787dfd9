import { useSignal } from '@preact/signals';
import { Fragment } from 'preact';
import type { JournalEntry } from '../../api/types.ts';
import { INCIDENTS, type What } from '../../shared/journal.ts';
import { forPeople } from './for-people.ts';
import { clockTime, dateTime, dayOf } from './journal.ts';
import { ask, journal } from './store.ts';
import { Tick } from './tick.tsx';
import { Unfold } from './unfold.tsx';

/** From here on (as in overview.css) the journal stands beside the rest, and so it is open. */
const BESIDE = '(min-width: 75rem)';

/** How many older entries are read at a time. */
const OLDER = 300;

/** Kinds of entries that are named beside their text. */
const KIND: Readonly<Record<string, string>> = { refused: 'refused' };

/** The journal, newest first; entries that repeat are folded into one. */
export function Journal() {
  const refusedOnly = useSignal(false);
  const open = useSignal(matchMedia(BESIDE).matches);
  const search = useSignal('');
  const older = useSignal<readonly JournalEntry[]>([]);
  const isAll = useSignal(false);
  const first = (older.value[0] ?? journal.value[0])?.seq;
  const newest = journal.value[0]?.seq ?? 0;
  const all = [...older.value.filter(({ seq }) => seq < newest), ...journal.value];
  const readOlder = async (): Promise<void> => {
    const read = await ask('journal.read', { before: first, limit: OLDER });
    if (!read) return;
    isAll.value = read.entries.length === 0;
    older.value = [...read.entries, ...older.value];
  };
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  const shown = all.filter((entry) => {
    if (refusedOnly.value && entry.what !== 'refused') return false;
    const text =
      `${dateTime(entry.time)} ${entry.who} ${KIND[entry.what] ?? ''} ${forPeople(entry.text)}`.toLowerCase();
    return words.every((word) => text.includes(word));
  });
  return (
    <aside class="sheet journal" aria-label="Journal">
      <details
        open={open.value}
        onToggle={(event) => {
          open.value = event.currentTarget.open;
        }}
      >
        <summary>
          <h2>Journal</h2>
        </summary>
        <Tick
          checked={refusedOnly.value}
          onTick={(checked) => {
            refusedOnly.value = checked;
          }}
        >
          Refused only
        </Tick>
        <div class="row">
          <input
            type="search"
            aria-label="Search the journal"
            placeholder="search"
            value={search}
            onInput={(event) => {
              search.value = event.currentTarget.value;
            }}
          />
          <button type="button" disabled={shown.length === 0} onClick={() => download(shown)}>
            Download
          </button>
        </div>
        {open.value && shown.length > 0 && (
          // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard
          <section class="days" tabIndex={0} aria-label="Newest first">
            {byDay(fold(shown)).map(({ day, runs }) => (
              <Fragment key={`${day} ${runs[0]!.firstSeq}`}>
                <h3>{day}</h3>
                <ol>
                  {runs.map((run) => (
                    <Entry key={run.firstSeq} run={run} />
                  ))}
                </ol>
              </Fragment>
            ))}
          </section>
        )}
        {open.value && first !== undefined && first > 1 && !isAll.value && (
          <button type="button" onClick={readOlder}>
            Older
          </button>
        )}
        {shown.length === 0 && (
          <p class="hint">{journal.value.length === 0 ? 'Nothing yet.' : 'Nothing matches.'}</p>
        )}
      </details>
      <Unfold summary={<h2>Wear</h2>}>{({ WearList }) => <WearList />}</Unfold>
    </aside>
  );
}

/** What a hand at a slider asks for ten times a second. */
const SLID: readonly What[] = ['channel.dim', 'channel.colour'];

interface Run {
  firstSeq: number;
  last: JournalEntry;
  count: number;
}

/** Gives what is shown to the browser as a file, a line for each entry. */
function download(entries: readonly JournalEntry[]): void {
  const lines = entries.map(
    ({ time, who, text, count }) =>
      `${time}\t${who}\t${forPeople(text)}${count === undefined ? '' : `\t${count} times`}\n`,
  );
  const url = URL.createObjectURL(new Blob(lines, { type: 'text/plain' }));
  const link = document.createElement('a');
  link.href = url;
  link.download = `journal-${new Date().toISOString().slice(0, 10)}.txt`;
  link.click();
  URL.revokeObjectURL(url);
}

/** Newest first, with the requests of one drag of a slider folded into their last. */
function fold(entries: readonly JournalEntry[]): Run[] {
  const runs: Run[] = [];
  for (const entry of entries) {
    const run = runs.at(-1);
    if (
      run &&
      (isSame(run.last, entry) || (SLID.includes(entry.what) && sameDrag(run.last, entry)))
    ) {
      run.last = entry;
      run.count += entry.count ?? 1;
    } else runs.push({ firstSeq: entry.seq, last: entry, count: entry.count ?? 1 });
  }
  return runs.reverse();
}

/** Runs that follow each other on one day; where the clock was set back, a day comes again. */
function byDay(runs: readonly Run[]): { day: string; runs: Run[] }[] {
  const days: { day: string; runs: Run[] }[] = [];
  for (const run of runs) {
    const day = dayOf(run.last.time);
    const last = days.at(-1);
    if (last?.day === day) last.runs.push(run);
    else days.push({ day, runs: [run] });
  }
  return days;
}

function isSame(a: JournalEntry, b: JournalEntry): boolean {
  return a.who === b.who && a.what === b.what && a.text === b.text;
}

function sameDrag(a: JournalEntry, b: JournalEntry): boolean {
  return a.who === b.who && a.what === b.what && a.values?.channel === b.values?.channel;
}

function Entry({ run }: { run: Run }) {
  const { last, count } = run;
  return (
    <li>
      <time class="number" dateTime={last.time}>
        {clockTime.format(new Date(last.time))}
      </time>{' '}
      <b>{last.who}</b> {last.what === 'refused' && <span class="refused">refused</span>}{' '}
      {forPeople(last.text)}
      {count > 1 && <span class="soft"> (the last of {count})</span>}
      {INCIDENTS.includes(last.what) && (
        <Unfold summary="The seconds before it">
          {({ BeforeIt }) => <BeforeIt seq={run.firstSeq} />}
        </Unfold>
      )}
    </li>
  );
}
