import { tidy } from '../../shared/units.ts';
import { cue, isFresh, rehearsed } from './cues-data.ts';
import { select } from './cues-timeline.tsx';
import { forPeople } from './for-people.ts';

const LEVELS = { error: 'Wrong', warning: 'Look', note: 'Note' } as const;

/** What would be refused, slowed or held back, each leading to its step. */
export function Remarks() {
  const done = rehearsed.value?.of;
  if (!done) return null;
  const { findings, more, flashes } = done;
  const most = Math.max(flashes.planned, flashes.plannedColour);
  return (
    <section
      class={`sheet desk-remarks ${isFresh.value ? '' : 'is-old'}`}
      aria-labelledby="desk-remarks"
    >
      <h2 id="desk-remarks">Remarks of the rehearsal</h2>
      {findings.length === 0 && <p class="hint">None: it runs as it is written.</p>}
      {most > 0 && (
        <p class="hint number">
          All light together: at most {most} {most === 1 ? 'flash' : 'flashes'} in a second as
          written, {Math.max(flashes.shown, flashes.shownColour)} as shown.
        </p>
      )}
      <ol>
        {findings.map((one, i) => {
          const own = one.cue === cue.value && one.step !== null;
          const where = [
            one.atS === null ? '' : `at ${tidy(one.atS, 2)} s`,
            one.step === null
              ? ''
              : `${one.cue === cue.value ? '' : `cue ${one.cue}, `}step ${one.step + 1}`,
          ]
            .filter(Boolean)
            .join(', ');
          return (
            <li key={`${i} ${one.wrong}`} id={`desk-remark-${i}`} class={`is-${one.level}`}>
              <p>
                <b>{LEVELS[one.level]}</b>
                {where && `, ${where}`}: {forPeople(one.wrong)}
                {one.times !== undefined && one.times > 1 && ` (${one.times} times)`}.{' '}
                <span class="hint">To do: {forPeople(one.right)}.</span>
              </p>
              {own && (
                <button
                  type="button"
                  aria-label={`Go to step ${one.step! + 1}`}
                  onClick={() => select(one.step!)}
                >
                  Step {one.step! + 1}
                </button>
              )}
            </li>
          );
        })}
      </ol>
      {more > 0 && <p>and {more} more</p>}
    </section>
  );
}
