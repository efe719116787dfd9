import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { capturePark, MarkForm, undoCapture } from './bench-capture.tsx';
import { degText, moveSlowly, rangeText } from './bench-moves.ts';
import { Figure } from './bench-numbers.tsx';
import { forPeople } from './for-people.ts';
import { measuredText } from './measured.ts';
import { isUnknown } from './standing.ts';
import { commanding, stateOf } from './store.ts';
import type { StepProps } from './walk-step.ts';

/** First step: the safety notes; goes on only while this page may command the prop. */
export function BeforeStep({ next }: StepProps) {
  return (
    <>
      <p class="caution">
        It can pinch: fingers out of hinges and linkages. Keep a hand on the switch that cuts the
        power.
      </p>
      <ul>
        <li>
          Take the linkage off, or leave the horn free, if you are not sure how far it may go.
        </li>
        <li>
          Waking the prop moves it: a servo whose place is not known jumps to its park position.
        </li>
        <li>
          Stop is always at the bottom of the page
          <span class="for-keys">
            , and on the key <kbd>Esc</kbd>
          </span>
          .
        </li>
      </ul>
      <p class="row decision">
        <Act
          class="primary big"
          can={commanding.value}
          aria-describedby={commanding.value ? undefined : 'walk-not-yet'}
          onAct={() => next()}
        >
          It is safe: begin
        </Act>
        {!commanding.value && (
          <span class="hint" id="walk-not-yet">
            First take control and wake the prop, with the first button at the bottom.
          </span>
        )}
      </p>
    </>
  );
}

/** Names positions; the step may be passed without any. */
export function MarksStep({ channel, info, progress, say, keep, next }: StepProps) {
  const marks = Object.entries(info.marks ?? {});
  const undo = async () => {
    const said = await undoCapture();
    if (!said) return;
    keep({ written: [...progress.written, said] });
    say.value = said;
  };
  return (
    <>
      <MarkForm
        channel={channel}
        info={info}
        say={say}
        isPrimary={marks.length === 0}
        onDone={(said) => keep({ written: [...progress.written, said] })}
      />
      <p class="hint on-wide">
        A letter, then letters, digits, _ or -. A name that exists moves to here.
      </p>
      {marks.length > 0 && (
        <ul class="walk-marks" aria-label="Marks">
          {marks.map(([mark, deg]) => (
            <li key={mark}>
              {mark} <span class="number soft">{degText(deg)}</span>
            </li>
          ))}
        </ul>
      )}
      <div class="decision">
        <Act can={commanding.value && progress.written.length > 0} onAct={() => void undo()}>
          Undo the last capture
        </Act>
        <button type="button" class={marks.length > 0 ? 'primary big' : ''} onClick={() => next()}>
          {marks.length > 0 ? 'All marks are named' : 'Go on without marks'}
        </button>
      </div>
    </>
  );
}

const HERE = ' here';

/** Sets the park position: a mark, or where the servo stands. */
export function ParkStep({ channel, info, progress, say, next }: StepProps) {
  const marks = Object.entries(info.marks ?? {});
  const now = String(info.park.to);
  const chosen = Object.hasOwn(info.marks ?? {}, now) ? now : (marks[0]?.[0] ?? HERE);
  return (
    <form
      onSubmit={async (event) => {
        event.preventDefault();
        if (!commanding.peek()) return;
        const at = String(new FormData(event.currentTarget).get('at'));
        const said = await capturePark(channel, at === HERE ? undefined : at);
        if (!said) return;
        next({ written: [...progress.written, said] });
        say.value = said;
      }}
    >
      <fieldset class="plain walk-choices">
        <legend class="on-wide">Park it</legend>
        {marks.map(([mark, deg]) => (
          <label key={mark} class="check">
            <input type="radio" name="at" value={mark} defaultChecked={mark === chosen} />
            at {mark} <span class="number soft">{degText(deg)}</span>
          </label>
        ))}
        <label class="check">
          <input type="radio" name="at" value={HERE} defaultChecked={chosen === HERE} />
          where it stands now
        </label>
      </fieldset>
      <p class="hint on-wide">
        {info.park.then === 'release'
          ? 'There the pulses stop and it goes limp.'
          : 'There it is held.'}{' '}
        The prop file says so.
      </p>
      <p class="row decision">
        <button type="submit" class="primary big" aria-disabled={!commanding.value}>
          Park it there
        </button>
      </p>
    </form>
  );
}

/** Moves slowly through limits, marks and park position; the trial may be skipped. */
export function TryStep({ channel, info, say: message, busy: isRunning, next }: StepProps) {
  const hasTried = useSignal(false);
  const isEnded = useRef(false);
  useEffect(
    () => () => {
      isEnded.current = true;
      isRunning.value = false;
    },
    [isRunning],
  );
  const [low, high] = info.limitsDeg!;
  const marks = Object.entries(info.marks ?? {}).sort(([, a], [, b]) => a - b);
  const parkName = String(info.park.to);
  const places: { label: string; to: number | string }[] = [
    { label: `low limit, ${degText(low)}`, to: low },
    ...marks.map(([mark, deg]) => ({ label: `${mark}, ${degText(deg)}`, to: mark })),
    { label: `high limit, ${degText(high)}`, to: high },
  ];
  const park = typeof info.park.to === 'number' ? info.park.to : parkName;

  const visit = async (tour: typeof places): Promise<boolean> => {
    if (isRunning.value) return false;
    isRunning.value = true;
    isEnded.current = false;
    try {
      for (const { label, to } of tour) {
        if (isEnded.current) return false;
        message.value = `On its way to ${label}.`;
        await moveSlowly(channel, info, to);
      }
      message.value = `It has arrived: ${tour.at(-1)!.label}.`;
      return true;
    } catch (error) {
      message.value = `It did not arrive: ${forPeople((error as Error).message)}.`;
      return false;
    } finally {
      isRunning.value = false;
    }
  };
  const visitAll = async () => {
    const wasAll = await visit([...places, { label: 'the park position', to: park }]);
    if (wasAll) hasTried.value = true;
  };
  return (
    <>
      <fieldset class="plain walk-places">
        <legend class="on-wide">Places, one by one</legend>
        <div class="row">
          {places.map((one) => (
            <Act
              key={one.to}
              can={commanding.value && !isRunning.value}
              onAct={() => void visit([one])}
            >
              {one.label}
            </Act>
          ))}
        </div>
      </fieldset>
      <div class="decision">
        {isRunning.value ? (
          <button
            type="button"
            key="run"
            onClick={() => {
              isEnded.current = true;
            }}
          >
            End after this move
          </button>
        ) : (
          <button
            type="button"
            key="run"
            class={hasTried.value ? '' : 'primary big'}
            aria-disabled={!commanding.value}
            onClick={() => {
              if (commanding.peek()) void visitAll();
            }}
          >
            Move through all places
          </button>
        )}
        <Act
          class={hasTried.value ? 'primary big' : ''}
          can={!isRunning.value}
          onAct={() => next()}
        >
          {hasTried.value ? 'It moves well: finish' : 'Finish without the whole trial'}
        </Act>
      </div>
    </>
  );
}

/** Last step: what the servo has now, and what was written on the walk. */
export function DoneStep({ channel, info, progress }: StepProps) {
  const { to, then } = info.park;
  const state = stateOf(channel);
  return (
    <>
      <dl class="figures">
        <div>
          <dt>Soft limits</dt>
          <dd class="number">{rangeText(info.limitsDeg!)}</dd>
        </div>
        <div>
          <dt>Marks</dt>
          <dd class="number">
            {Object.entries(info.marks ?? {})
              .map(([mark, deg]) => `${mark} ${degText(deg)}`)
              .join(', ') || 'none'}
          </dd>
        </div>
        <div>
          <dt>Parks</dt>
          <dd class="number">
            {typeof to === 'number' ? degText(to) : String(to)}
            {then === 'release' ? ', then the pulses stop' : ', held'}
          </dd>
        </div>
        <div>
          <dt>True angle</dt>
          <dd>
            <a href={`#bench/${channel}/measure`}>{measuredText(info, 'calibration')}</a>
          </dd>
        </div>
        <Figure
          label="Stands at"
          text={() => (isUnknown(state.value) ? 'unknown' : degText(state.value.value as number))}
        />
      </dl>
      <h3>Written on this walk</h3>
      {progress.written.length === 0 ? (
        <p>Nothing.</p>
      ) : (
        <ol>
          {progress.written.map((line, i) => (
            <li key={i}>{line}</li>
          ))}
        </ol>
      )}
    </>
  );
}
