import { useSignal } from '@preact/signals';
import type { JournalEntry } from '../../api/types.ts';
import type { What } from '../../shared/journal.ts';
import { clockTime } from './journal.ts';
import { journal } from './store.ts';

/** From here on (as in overview.css) the journal stands beside the rest, and so it is open. */
const BESIDE = '(min-width: 75rem)';

/** The journal, newest first; entries that repeat are folded into one. */
export function Journal() {
  const refusedOnly = useSignal(false);
  const open = useSignal(matchMedia(BESIDE).matches);
  const shown = refusedOnly.value
    ? journal.value.filter((entry) => entry.what === 'refused')
    : journal.value;
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
        <label class="check">
          <input
            type="checkbox"
            checked={refusedOnly.value}
            onChange={(event) => {
              refusedOnly.value = event.currentTarget.checked;
            }}
          />
          Refused only
        </label>
        {open.value && shown.length > 0 && (
          // biome-ignore lint/a11y/noNoninteractiveTabindex: what scrolls must be within reach of the keyboard
          <ol tabIndex={0} aria-label="Newest first">
            {fold(shown).map((run) => (
              <Entry key={run.firstSeq} run={run} />
            ))}
          </ol>
        )}
        {shown.length === 0 && <p class="hint">Nothing yet.</p>}
      </details>
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

/** Newest first, with the requests of one drag of a slider folded into their last. */
function fold(entries: readonly JournalEntry[]): Run[] {
  const runs: Run[] = [];
  for (const entry of entries) {
    const run = runs.at(-1);
    if (run && SLID.includes(entry.what) && sameDrag(run.last, entry)) {
      run.last = entry;
      run.count += entry.count ?? 1;
    } else runs.push({ firstSeq: entry.seq, last: entry, count: entry.count ?? 1 });
  }
  return runs.reverse();
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
      {last.text}
      {count > 1 && <span class="soft"> (the last of {count})</span>}
    </li>
  );
}
