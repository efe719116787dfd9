import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { capturePark, MarkForm, Message, undoCapture } from './bench-capture.tsx';
import { degText, moveSlowly, rangeText, SLOW_DEG_S } from './bench-moves.ts';
import { Figure } from './bench-numbers.tsx';
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
          Stop is always at the bottom of the page, and on the key <kbd>Esc</kbd>.
        </li>
        <li>The channel is chosen at the top of the page.</li>
      </ul>
      <p class="row">
        <button
          type="button"
          class="primary big"
          disabled={!commanding.value}
          aria-describedby={commanding.value ? undefined : 'walk-not-yet'}
          onClick={() => next()}
        >
          It is safe: begin
        </button>
        {!commanding.value && (
          <span class="hint" id="walk-not-yet">
            First take control, at the top, and wake the prop, at the bottom.
          </span>
        )}
      </p>
    </>
  );
}

/** Names positions; the step may be passed without any. */
export function MarksStep({ channel, info, progress, keep, next }: StepProps) {
  const message = useSignal('');
  const marks = Object.entries(info.marks ?? {});
  return (
    <>
      <MarkForm
        channel={channel}
        info={info}
        message={message}
        isPrimary={marks.length === 0}
        onDone={(said) => keep({ written: [...progress.written, said] })}
      />
      {marks.length > 0 && (
        <ul class="walk-list" aria-label="Marks">
          {marks.map(([mark, deg]) => (
            <li key={mark}>
              {mark} <span class="number">{degText(deg)}</span>
            </li>
          ))}
        </ul>
      )}
      <Message text={message} />
      <Undo {...{ progress, keep }} onDone={(said) => (message.value = said)} />
      <p class="row">
        <button type="button" class={marks.length > 0 ? 'primary big' : ''} onClick={() => next()}>
          {marks.length > 0 ? 'All marks are named' : 'Go on without marks'}
        </button>
      </p>
    </>
  );
}

function Undo(props: Pick<StepProps, 'progress' | 'keep'> & { onDone: (said: string) => void }) {
  return (
    <button
      type="button"
      disabled={!commanding.value || props.progress.written.length === 0}
      onClick={async () => {
        const said = await undoCapture();
        if (!said) return;
        props.keep({ written: [...props.progress.written, said] });
        props.onDone(said);
      }}
    >
      Undo the last capture
    </button>
  );
}

const HERE = ' here';

/** Sets the park position: a mark, or where the servo stands. */
export function ParkStep({ channel, info, progress, next }: StepProps) {
  const marks = Object.entries(info.marks ?? {});
  const now = String(info.park.to);
  const chosen = Object.hasOwn(info.marks ?? {}, now) ? now : (marks[0]?.[0] ?? HERE);
  return (
    <form
      onSubmit={async (event) => {
        event.preventDefault();
        const at = String(new FormData(event.currentTarget).get('at'));
        const said = await capturePark(channel, at === HERE ? undefined : at);
        if (said) next({ written: [...progress.written, said] });
      }}
    >
      <fieldset class="plain">
        <legend>Park it</legend>
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
      <p class="hint">
        {info.park.then === 'release'
          ? 'There the pulses stop and it goes limp.'
          : 'There it is held.'}{' '}
        The prop file says so.
      </p>
      <p class="row">
        <button type="submit" class="primary big" disabled={!commanding.value}>
          Park it there
        </button>
      </p>
    </form>
  );
}

/** Moves slowly through limits, marks and park position; the trial may be skipped. */
export function TryStep({ channel, info, next }: StepProps) {
  const message = useSignal('');
  const isRunning = useSignal(false);
  const hasTried = useSignal(false);
  const isEnded = useRef(false);
  useEffect(
    () => () => {
      isEnded.current = true;
    },
    [],
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
      message.value = `It did not arrive: ${(error as Error).message}.`;
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
      <p class="caution">
        It moves by itself now, at {SLOW_DEG_S} deg/s at most. Fingers out; Stop is at hand, on the
        key Esc, too.
      </p>
      <p class="row">
        <button
          type="button"
          class={hasTried.value ? '' : 'primary big'}
          disabled={!commanding.value || isRunning.value}
          onClick={visitAll}
        >
          Move through all places
        </button>
        {isRunning.value && (
          <button
            type="button"
            onClick={() => {
              isEnded.current = true;
            }}
          >
            End after this move
          </button>
        )}
      </p>
      <fieldset class="row plain">
        <legend>Or one by one</legend>
        {places.map((one) => (
          <button
            key={one.to}
            type="button"
            disabled={!commanding.value || isRunning.value}
            onClick={() => visit([one])}
          >
            {one.label}
          </button>
        ))}
      </fieldset>
      <Message text={message} />
      <p class="row">
        <button
          type="button"
          class={hasTried.value ? 'primary big' : ''}
          disabled={isRunning.value}
          onClick={() => next()}
        >
          {hasTried.value ? 'It moves well: finish' : 'Finish without the whole trial'}
        </button>
      </p>
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
