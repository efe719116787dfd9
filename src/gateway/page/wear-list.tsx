import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { maintainText } from '../../api/maintain.ts';
import type { Result } from '../../api/methods.ts';
import type { WearInfo } from '../../api/types.ts';
import { Act } from './act.tsx';
import { angle } from './angle.ts';
import { dateTime } from './journal.ts';
import { ask, holding } from './store.ts';
import { wornInOrder, wornText } from './wear-order.ts';

/** What has worn each channel, what is due first; and that it was maintained. */
export function WearList() {
  const read = useSignal<Result<'wear.read'> | undefined>(undefined);
  const load = async () => {
    const answer = await ask('wear.read', {});
    if (answer) read.value = answer;
  };
  useEffect(() => void load(), []);
  if (!read.value) return <p class="hint">Loading…</p>;
  return (
    <>
      <ol class="worn">
        {wornInOrder(read.value.channels).map((info) => (
          <Worn key={info.name} info={info} onDone={() => void load()} />
        ))}
      </ol>
      <p class="hint">
        Counted since {dateTime(read.value.since)}. The book of the prop has its parts, spares and
        maintenance, to print: <code>sinew book FILE --out book.html</code>
      </p>
    </>
  );
}

function Worn({ info, onDone }: { info: WearInfo; onDone: () => void }) {
  const asking = useSignal(false);
  const note = useSignal('');
  const { name, done, maintain, due, drift } = info;
  const noteDone = async () => {
    const result = await ask('wear.done', { channel: name, note: note.value.trim() });
    if (!result) return;
    asking.value = false;
    note.value = '';
    onDone();
  };
  return (
    <li>
      <div class="told">
        <b>{name}</b> {due && <span class="due">maintenance is due</span>} {wornText(info)}
        {maintain && <div class="soft">Maintain at: {maintainText(maintain)}</div>}
        {drift && (
          <div class="soft">
            At rest {drift.byDeg > 0 && '+'}
            {angle(drift.byDeg)} from where it was on {drift.days[0]!.day}
          </div>
        )}
        {done && (
          <div class="soft">
            Maintained {dateTime(done.time)} by {done.who}
            {done.note && `: ${done.note}`}
          </div>
        )}
      </div>
      {asking.value ? (
        <form
          class="row"
          onSubmit={(event) => {
            event.preventDefault();
            void noteDone();
          }}
        >
          <input
            type="text"
            aria-label={`What was done to ${name}`}
            placeholder="what was done"
            maxLength={200}
            value={note}
            onInput={(event) => {
              note.value = event.currentTarget.value;
            }}
          />
          <button type="submit" disabled={!holding.value}>
            Yes, {name} was maintained
          </button>
          <button
            type="button"
            onClick={() => {
              asking.value = false;
            }}
          >
            Cancel
          </button>
        </form>
      ) : (
        <Act
          can={holding.value}
          aria-label={`${name} was maintained`}
          title={holding.value ? undefined : 'To note it, first take control'}
          onAct={() => {
            asking.value = true;
          }}
        >
          Maintained
        </Act>
      )}
    </li>
  );
}
