import { effect, useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { NAME } from '../../prop/name.ts';
import { Act } from './act.tsx';
import { askFirst } from './confirm.tsx';
import {
  addCue,
  busy,
  cue,
  dropDraft,
  file,
  freeCueName,
  history,
  inFile,
  isChanged,
  keepMine,
  load,
  names,
  open,
  problem,
  redo,
  removeCue,
  said,
  save,
  steps,
  takeTheirs,
  theirs,
  undo,
  unsaved,
  want,
  watchRehearsal,
} from './cues-data.ts';
import { StepForm } from './cues-form.tsx';
import { type Steps, stepWords } from './cues-model.ts';
import { OnTheProp } from './cues-on-prop.tsx';
import { PlayHere, RehearsalPicture } from './cues-picture.tsx';
import { pause } from './cues-play.ts';
import { Remarks } from './cues-remarks.tsx';
import { AddRow, gridS, Timeline, zoom } from './cues-timeline.tsx';
import { UndoSaved } from './cues-undo.tsx';
import { Select } from './select.tsx';
import { holding } from './store.ts';

/** More would hold the page up. */
const MOST_STEPS = 1000;

/** The cue that the address names: `#cues/desk/blink`, or `#cues/blink`. */
function named(): string {
  const [, first = '', second = ''] = location.hash.split('/');
  try {
    return decodeURIComponent(first === 'desk' ? second : first);
  } catch {
    // Typed by hand, and no name at all.
    return '';
  }
}

/** The steps of a cue, in rows along one time axis; rehearsed while they are changed. */
export function Desk() {
  useEffect(() => {
    const take = () => want(named());
    take();
    addEventListener('hashchange', take);
    const stop = watchRehearsal();
    const stopNaming = effect(() => {
      // What is played is another cue's.
      pause();
      if (cue.value) nameInAddress(cue.value);
    });
    return () => {
      removeEventListener('hashchange', take);
      stop();
      stopNaming();
      pause();
    };
  }, []);
  if (problem.value)
    return (
      <section class="sheet">
        <h2>Desk</h2>
        <p role="alert">{problem.value}</p>
        <button type="button" onClick={() => void load()}>
          Try again
        </button>
      </section>
    );
  if (!file.value) return <p role="status">Loading.</p>;
  return (
    <div class="desk">
      <Head />
      {theirs.value && <Met theirs={theirs.value.steps} />}
      {cue.value && steps.value.length > MOST_STEPS && (
        <p class="notice-line">
          {cue.value} has {steps.value.length} steps, more than the desk can show: it is edited in
          the file, and stays as it is.
        </p>
      )}
      {cue.value && steps.value.length <= MOST_STEPS && (
        <>
          <section class="sheet desk-time" aria-labelledby="desk-timeline">
            <div class="desk-tools">
              <h2 id="desk-timeline">Timeline</h2>
              <AddRow />
            </div>
            <Timeline />
            <div class="desk-tools is-below">
              <PlayHere />
              <Select
                class="field"
                label="Snap to"
                value={String(gridS.value)}
                options={[1, 0.5, 0.1, 0.05].map((one) => [String(one), `${one} s`])}
                onPick={(value) => {
                  gridS.value = Number(value);
                }}
              />
              <span class="row">
                <button type="button" aria-label="Show less time, larger" onClick={() => zoom(1)}>
                  Larger
                </button>
                <button type="button" aria-label="Show more time, smaller" onClick={() => zoom(-1)}>
                  Smaller
                </button>
              </span>
            </div>
            <details class="desk-keys">
              <summary>How to place, move and stretch steps</summary>
              <ul>
                <li>
                  Tap the time axis or an empty place in a row to put the cursor there; + adds a
                  step to that row at the cursor. A double click does both.
                </li>
                <li>
                  Drag a step to move it, and its end to stretch it; on a touch screen tap it first.
                  Ctrl while dragging moves a copy. Shift is finer.
                </li>
                <li class="for-keys">
                  On a step: <kbd>←</kbd> <kbd>→</kbd> move it, with Ctrl or Alt they stretch it,
                  with Shift finer; <kbd>Ctrl C</kbd> and <kbd>Ctrl V</kbd> copy it to the cursor,{' '}
                  <kbd>Ctrl D</kbd> copies it behind itself, <kbd>Delete</kbd> removes it.{' '}
                  <kbd>↑</kbd> <kbd>↓</kbd> <kbd>PgUp</kbd> <kbd>PgDn</kbd> lead to other steps,{' '}
                  <kbd>Ctrl Z</kbd> undoes.
                </li>
                <li>The buttons of the form do the same.</li>
              </ul>
            </details>
          </section>
          <StepForm />
          <div class="desk-lower">
            <RehearsalPicture />
            <div class="desk-more">
              <Remarks />
              <OnTheProp />
            </div>
          </div>
        </>
      )}
    </div>
  );
}

// --- which cue, and saving it -----------------------------------------------------------------------

function Head() {
  const all = names.value;
  const { past, future } = history.value;
  return (
    <section class="sheet desk-top" aria-labelledby="desk">
      <h2 id="desk">Desk</h2>
      <div class="row">
        {all.length > 0 ? (
          <Select
            class="field"
            label="Cue"
            value={cue.value}
            options={all.map((name) => [
              name,
              unsaved.value.has(name) ? `${name} (not saved)` : name,
            ])}
            onPick={open}
          />
        ) : (
          <p>The prop has no cues yet. Give the first one a name.</p>
        )}
        {cue.value && (
          <>
            <Act can={past.length > 0} onAct={undo}>
              Undo
            </Act>
            <Act can={future.length > 0} onAct={redo}>
              Redo
            </Act>
            <Act
              class="primary"
              can={isChanged.value && holding.value && !busy.value && !theirs.value}
              onAct={() => void save()}
            >
              Save
            </Act>
            <UndoSaved />
          </>
        )}
      </div>
      <Others />
      <p role="status">
        {said.value ||
          (isChanged.value
            ? 'Not saved yet: kept in this browser until it is.'
            : cue.value
              ? 'As it is in the prop file.'
              : '')}
      </p>
      {!holding.value && (
        <p class="hint">Everything here can be tried out; to save or remove, take control first.</p>
      )}
    </section>
  );
}

/** A new cue, and what is done with a whole one. */
function Others() {
  const naming = useSignal('');
  const isNew = cue.value !== '' && inFile(cue.value) === undefined;
  const isOpen = useSignal(names.peek().length === 0);
  return (
    <details
      class="desk-others"
      open={isOpen.value}
      onToggle={(event) => {
        isOpen.value = event.currentTarget.open;
      }}
    >
      <summary>New cue, duplicate, remove</summary>
      <div class="row">
        <form
          class="row"
          onSubmit={(event) => {
            event.preventDefault();
            const name = naming.value.trim().replaceAll(/\s+/g, '_');
            if (!name) return;
            if (names.peek().includes(name)) said.value = `There is a cue ${name} already.`;
            else if (!NAME.test(name))
              said.value =
                'That is not a name: give a letter, then letters, digits, _ or - (64 at most).';
            else {
              addCue(name, []);
              naming.value = '';
            }
          }}
        >
          <label class="field">
            New cue{' '}
            <input
              value={naming.value}
              placeholder="name"
              maxLength={60}
              autocomplete="off"
              autocapitalize="off"
              spellcheck={false}
              onInput={(event) => {
                naming.value = event.currentTarget.value;
              }}
            />
          </label>
          <button type="submit">Make it</button>
        </form>
        {cue.value && (
          <>
            <Act can={isChanged.value} onAct={() => forget()}>
              Drop the changes…
            </Act>
            <button
              type="button"
              onClick={() => addCue(freeCueName(`${cue.peek()}_copy`), steps.peek())}
            >
              Duplicate
            </button>
            <Act
              can={isNew || (holding.value && !busy.value)}
              onAct={() =>
                isNew
                  ? dropDraft()
                  : askFirst({
                      title: `Remove ${cue.peek()}?`,
                      text: 'It goes from the prop file. Undo brings it back.',
                      yes: 'Remove it',
                      act: () => void removeCue(),
                    })
              }
            >
              Remove the cue
            </Act>
          </>
        )}
      </div>
    </details>
  );
}

/** The address names the cue, so that a reload comes back to it. */
function nameInAddress(name: string): void {
  globalThis.history.replaceState(null, '', `#cues/desk/${encodeURIComponent(name)}`);
}

function forget(): void {
  askFirst({
    title: `Drop the changes of ${cue.peek()}?`,
    text: 'What was changed here and is not saved is lost.',
    yes: 'Drop them',
    act: () => dropDraft(),
  });
}

/** Two people have changed the same cue: what each made of it, and which stays. */
function Met({ theirs: other }: { theirs: Steps | undefined }) {
  return (
    <section class="sheet desk-met" aria-labelledby="desk-met">
      <h2 id="desk-met">Somebody else has changed {cue.value}</h2>
      <p>
        {other
          ? 'The prop file has other steps now than when you began. Which shall be on the desk? Undo brings the others back.'
          : 'It is no longer in the prop file. Your steps are still here.'}
      </p>
      <div class="desk-two">
        <List title="Yours" of={steps.value} beside={other ?? []} />
        {other && <List title="In the file now" of={other} beside={steps.value} />}
      </div>
      <div class="row">
        <button type="button" onClick={keepMine}>
          Keep mine
        </button>
        <button type="button" onClick={takeTheirs}>
          {other ? 'Take theirs' : 'Let it go'}
        </button>
      </div>
    </section>
  );
}

function List({ title, of, beside }: { title: string; of: Steps; beside: Steps }) {
  const others = new Set(beside.map((step) => JSON.stringify(step)));
  return (
    <div>
      <h3>{title}</h3>
      <ol>
        {of.map((step, i) => {
          const differs = !others.has(JSON.stringify(step));
          return (
            <li key={`${i} ${stepWords(step)}`} class={differs ? 'is-different' : ''}>
              {differs && <b>≠ </b>}
              {whenWords(step)}: {stepWords(step)}
              {differs && <code class="desk-raw">{JSON.stringify(step)}</code>}
            </li>
          );
        })}
      </ol>
    </div>
  );
}

const whenWords = ({ at, after }: Steps[number]): string =>
  after === undefined ? `at ${at} s` : `after ${after}${at === undefined ? '' : `, ${at} s later`}`;
