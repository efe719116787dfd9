import { useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useLayoutEffect, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { ServoPicture } from './bench-numbers.tsx';
import { Pad } from './bench-pad.tsx';
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
  const progress = useSignal<Progress>(load(localStorage, prop, channel) ?? fresh());
  const keep = (change: Partial<Progress>) => {
    progress.value = { ...progress.value, ...change };
    save(localStorage, prop, channel, progress.value);
  };
  const { step } = progress.value;
  const place = STEPS.indexOf(step);
  const go = (by: number, change: Partial<Progress> = {}) =>
    keep({ ...change, step: STEPS[place + by]! });
  const props: StepProps = {
    channel,
    info,
    progress: progress.value,
    keep,
    next: (change) => go(1, change),
  };
  const leave = () => {
    location.hash = `#bench/${channel}`;
  };
  const startAgain = () => {
    clear(localStorage, prop, channel);
    progress.value = fresh();
  };
  const isMoving = step !== 'before' && step !== 'done';
  return (
    <div class={`walk ${isMoving ? 'is-moving' : ''}`}>
      <section class="sheet walk-head" aria-labelledby="walk-title">
        <p class="hint">
          Guided walk for {channel}, step {place + 1} of {STEPS.length}
        </p>
        <progress value={place} max={STEPS.length - 1} aria-label="How far the walk has come" />
        <Title key={step} text={titleOf(step, progress.value)} />
        <Instruction step={step} progress={progress.value} />
      </section>
      {isMoving && (
        <section class="sheet walk-dial" aria-label="Where it stands">
          <ServoPicture channel={channel} info={info} />
        </section>
      )}
      {isMoving && step !== 'try' && (
        <div class="sheet walk-pad">
          <Pad
            key={step}
            channel={channel}
            info={info}
            beyondLimits={step === 'first' || step === 'second'}
            feel={step === 'first' || step === 'second'}
          />
        </div>
      )}
      <section class="sheet walk-act" aria-label="This step">
        {step === 'before' && <BeforeStep {...props} />}
        {step === 'first' && <EndStep key="first" {...props} end={progress.value.firstEnd} />}
        {step === 'second' && (
          <EndStep key="second" {...props} end={otherEnd(progress.value.firstEnd)} />
        )}
        {step === 'marks' && <MarksStep {...props} />}
        {step === 'park' && <ParkStep {...props} />}
        {step === 'try' && <TryStep {...props} />}
        {step === 'done' && <DoneStep {...props} />}
        <div class="row walk-ways">
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
        </div>
        {isMoving && (
          <p class="hint">Leaving keeps your place in this browser. What is captured stays.</p>
        )}
      </section>
    </div>
  );
}

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

function Instruction({ step, progress }: { step: Step; progress: Progress }): ComponentChildren {
  const { firstEnd } = progress;
  switch (step) {
    case 'before':
      return <p>Make it safe to move, then begin.</p>;
    case 'first':
    case 'second': {
      const end = step === 'first' ? firstEnd : otherEnd(firstEnd);
      return (
        <p>
          Hold “Towards {end}” until the servo buzzes, or until the mechanism has come as far as it
          should. Then say that this is the {end} end.
        </p>
      );
    }
    case 'marks':
      return <p>Jog to a place that needs a name, such as shut or open, and capture it.</p>;
    case 'park':
      return <p>Choose where it rests when the prop is parked.</p>;
    case 'try':
      return <p>Let it move through its places, and watch the linkage all the way.</p>;
    case 'done':
      return <p>The servo is calibrated. This is what stands in the prop file now:</p>;
  }
}
