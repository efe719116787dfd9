import { signal } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { Act } from './act.tsx';
import { askFirst } from './confirm.tsx';
import { Difference } from './difference.tsx';
import { mayWrite, report, restore, type Version, versions } from './file-state.ts';
import { forPeople } from './for-people.ts';
import { dateTime } from './journal.ts';
import { call } from './link.ts';
import { condition, refuse } from './store.ts';

type Back = Result<'prop.difference'>;

/** The difference that is shown. */
const shown = signal<Back | undefined>(undefined);

/** What the question names; the rest is counted. */
const NAMED = 6;

async function compare(version: string): Promise<Back | undefined> {
  try {
    return await call('prop.difference', { version });
  } catch (error) {
    refuse(error);
    return undefined;
  }
}

/** Asks first: it names what changes, and whether that waits. */
async function goBack({ version, time }: Version): Promise<void> {
  const back = await compare(version);
  if (!back) return;
  shown.value = back;
  if (back.problem !== undefined) return;
  const named = back.changed.slice(0, NAMED).map(forPeople).join('; ');
  const more = back.changed.length - NAMED;
  const changes =
    back.changed.length === 0
      ? 'It changes nothing that the prop uses.'
      : `It changes: ${named}${more > 0 ? `; and ${more} more` : ''}.`;
  const waits = back.whenParked && condition.peek() !== 'parked';
  askFirst({
    title: `Go back to the version of ${dateTime(time)}?`,
    text: `${changes}${waits ? ' It waits until the prop is parked.' : ''} The present version is kept.`,
    yes: 'Go back to it',
    act: () => void restore(version, back.present, `The version of ${dateTime(time)} is back`),
  });
}

/** The versions that are kept, what they differ in, and the way back to them. */
export function Versions() {
  const list = versions.value;
  const before = list.find(({ current }) => !current);
  return (
    <section class="sheet" aria-labelledby="file-versions-title">
      <h2 id="file-versions-title">Versions</h2>
      <p class="hint">
        Before the file is changed from here, at the bench or by a command, the version before is
        kept: the last ten. What you save in an editor of your own is kept only by your editor.
      </p>
      {!mayWrite.value && before && (
        <p class="hint">To go back to a version, take control first.</p>
      )}
      {before && (
        <Act can={mayWrite.value} onAct={() => void goBack(before)}>
          Undo the last change…
        </Act>
      )}
      <ol class="versions">
        {list.map((one) => (
          <Item key={one.version} of={one} />
        ))}
      </ol>
    </section>
  );
}

function Item({ of }: { of: Version }) {
  const { version, time, who, what, current, inUse } = of;
  const back = shown.value?.version === version ? shown.value : undefined;
  const stale = back !== undefined && back.present !== report.value?.version;
  return (
    <li>
      <p>
        <b class="number">
          <time dateTime={time}>{dateTime(time)}</time>
        </b>{' '}
        {who}: {forPeople(what)}
      </p>
      <p class="hint">
        version {version}
        {current && ', on the disk now'}
        {inUse && ', in use'}
      </p>
      {!current && (
        <div class="row">
          <button
            type="button"
            aria-expanded={back !== undefined}
            onClick={async () => {
              shown.value = back && !stale ? undefined : await compare(version);
            }}
          >
            {back && !stale ? 'Hide the difference' : 'Show the difference'}
            <span class="unseen"> of the version of {dateTime(time)}</span>
          </button>
          <Act can={mayWrite.value} onAct={() => void goBack(of)}>
            Go back to it…<span class="unseen"> version of {dateTime(time)}</span>
          </Act>
        </div>
      )}
      {back && !stale && (
        <div class="back">
          {back.problem !== undefined && (
            <p class="is-problem">
              <b>It cannot be used</b>: {forPeople(back.problem)}.
            </p>
          )}
          <p>Going back to it changes these lines of the file:</p>
          <Difference of={back} label="Lines that going back changes" />
        </div>
      )}
    </li>
  );
}
