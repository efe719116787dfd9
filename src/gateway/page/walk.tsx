import { useSignal } from '@preact/signals';
import type { ComponentChildren, FunctionComponent } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { ServoFigures } from './bench-numbers.tsx';
import { type Hands, Thumb } from './bench-pad.tsx';
import { browserKept } from './kept.ts';
import { propName } from './store.ts';
import { EndStep } from './walk-end.tsx';
import {
  clear,
  fresh,
  load,
  otherEnd,
  type Progress,
  STEPS,
  type Step,
  save,
} from './walk-progress.ts';
import type { StepProps } from './walk-step.ts';
import { BeforeStep, DoneStep, MarksStep, ParkStep, TryStep } from './walk-steps.tsx';

function titleOf(step: Step, { firstEnd }: Progress): string {
  switch (step) {
    case 'before':
      return 'Before you start';
    case 'first':
      return `Find the ${firstEnd} end`;
    case 'second':
      return `Find the ${otherEnd(firstEnd)} end`;
    case 'marks':
      return 'Name the marks';
    case 'park':
      return 'Choose the park position';
    case 'try':
      return 'Try it slowly';
    case 'done':
      return 'Done';
  }
}

/**
 * The guided walk for a new servo, a step at a time: one end, the other end, marks, park position, a
 * trial. What is captured is in the prop file at once; how far the walk has come is kept in this
 * browser, so that it can be left and resumed.
 */
export function Walk({ channel, info }: { channel: string; info: ChannelInfo }) {
  const prop = propName.value;
  const progress = useSignal<Progress>(load(browserKept, prop, channel) ?? fresh());
  const keep = (change: Partial<Progress>) => {
    progress.value = { ...progress.value, ...change };
    save(browserKept, prop, channel, progress.value);
  };
  const say = useSignal('');
  const busy = useSignal(false);
  const { step, firstEnd } = progress.value;
  const place = STEPS.indexOf(step);
  const go = (by: number, change: Partial<Progress> = {}) => {
    say.value = '';
    keep({ ...change, step: STEPS[place + by]! });
  };
  const props: StepProps = {
    channel,
    info,
    progress: progress.value,
    say,
    busy,
    keep,
    next: (change) => go(1, change),
  };
  const leave = () => {
    location.hash = `#bench/${channel}`;
  };
  const startAgain = () => {
    clear(browserKept, prop, channel);
    progress.value = fresh();
  };
  const head = (
    <div class="walk-head">
      <p class="hint">
        <span class="on-wide">Guided walk for </span>
        {channel}, step {place + 1} of {STEPS.length}
      </p>
      <progress value={place} max={STEPS.length - 1} aria-label="How far the walk has come" />
      <Title key={step} text={titleOf(step, progress.value)} />
      <Instruction channel={channel} step={step} progress={progress.value} />
    </div>
  );
  const Act = ACTS[step];
  const hands = HANDS[step];
  const act = <Act key={`${step} ${firstEnd}`} {...props} />;
  return (
    <div class={`walk ${hands ? 'is-moving' : ''}`}>
      {hands ? (
        <Thumb
          key={step}
          channel={channel}
          info={info}
          head={head}
          capture={act}
          say={say}
          busy={busy}
          hands={hands}
          beyondLimits={hands === 'feel'}
        />
      ) : (
        <section class="sheet" aria-label="This step">
          {head}
          {act}
        </section>
      )}
      <div class="walk-more">
        <div class="row">
          {place > 0 && (
            <button type="button" onClick={() => go(-1)}>
              Back
            </button>
          )}
          <button type="button" onClick={leave}>
            {step === 'done' ? 'To the bench' : 'Leave the walk'}
          </button>
          {place > 0 && (
            <button type="button" onClick={startAgain}>
              Start again
            </button>
          )}
          {step === 'first' && (
            <button type="button" onClick={() => keep({ firstEnd: otherEnd(firstEnd) })}>
              Begin with the {otherEnd(firstEnd)} end instead
            </button>
          )}
        </div>
        {hands && (
          <p class="hint">Leaving keeps your place in this browser. What is captured stays.</p>
        )}
      </div>
      {hands && <ServoFigures channel={channel} info={info} />}
    </div>
  );
}

/** What a step decides. */
const ACTS: Record<Step, FunctionComponent<StepProps>> = {
  before: BeforeStep,
  first: (props) => <EndStep {...props} end={props.progress.firstEnd} />,
  second: (props) => <EndStep {...props} end={otherEnd(props.progress.firstEnd)} />,
  marks: MarksStep,
  park: ParkStep,
  try: TryStep,
  done: DoneStep,
};

/** With what the servo is moved in a step; undefined where it stands still. */
const HANDS: Record<Step, Hands | undefined> = {
  before: undefined,
  first: 'feel',
  second: 'feel',
  marks: 'jog',
  park: 'jog',
  try: 'none',
  done: undefined,
};

/** Takes the focus when the step changes, so that it is read out and Tab goes on from there. */
function Title({ text }: { text: string }) {
  const heading = useRef<HTMLHeadingElement>(null);
  useLayoutEffect(() => heading.current?.focus(), []);
  return (
    <h2 id="walk-title" ref={heading} tabIndex={-1}>
      {text}
    </h2>
  );
}

function Instruction({
  channel,
  step,
  progress,
}: {
  channel: string;
  step: Step;
  progress: Progress;
}): ComponentChildren {
  const { firstEnd } = progress;
  switch (step) {
    case 'before':
      return <p>Make it safe to move, then begin.</p>;
    case 'first':
    case 'second': {
      const end = step === 'first' ? firstEnd : otherEnd(firstEnd);
      return (
        <p>
          Hold “Towards {end}” until the servo buzzes or has gone as far as it should. Then say so.
        </p>
      );
    }
    case 'marks':
      return <p>Jog to a place that needs a name, such as shut or open, and capture it.</p>;
    case 'park':
      return <p>Choose where {channel} rests when parked.</p>;
    case 'try':
      return <p>Let it move through its places, and watch the linkage all the way.</p>;
    case 'done':
      return <p>This is in the prop file now:</p>;
  }
}
