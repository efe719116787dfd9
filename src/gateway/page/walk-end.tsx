import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { captureLimit, captureMark, capturePark, Message } from './bench-capture.tsx';
import { creepTo, degText, envelopeDeg, standstill } from './bench-moves.ts';
import { channels, commanding, refresh, stateOf, trouble } from './store.ts';
import { type Conflicts, conflicts, type End, MARGIN_DEG, otherEnd } from './walk-progress.ts';
import type { StepProps } from './walk-step.ts';

/** Where a limit waits for what stands in its way. */
interface Blocked {
  /** Where the limit would be (deg). */
  deg: number;
  by: Conflicts;
}

/** One end: here it is; back off by the margin, and set the limit there. */
export function EndStep(props: StepProps & { end: End }) {
  const { channel, info, progress, keep, next, end } = props;
  const message = useSignal('');
  const isBusy = useSignal(false);
  const blocked = useSignal<Blocked | undefined>(undefined);
  const gone = useRef(new AbortController());
  useEffect(() => {
    const controller = new AbortController();
    gone.current = controller;
    return () => controller.abort();
  }, []);

  const run = async (work: (signal: AbortSignal) => Promise<void>) => {
    if (isBusy.value) return;
    isBusy.value = true;
    const { signal } = gone.current;
    try {
      await work(signal);
    } catch (error) {
      message.value = signal.aborted ? '' : `Not set: ${(error as Error).message}.`;
    } finally {
      isBusy.value = false;
    }
  };

  const setLimit = async (foundDeg: number) => {
    const said = await captureLimit(channel, end);
    if (!said) throw new Error(trouble.value);
    await refresh();
    next({
      ends: { ...progress.ends, [end]: foundDeg },
      written: [...progress.written, said],
    });
  };

  const thisIsTheEnd = () =>
    run(async (signal) => {
      blocked.value = undefined;
      await standstill(channel);
      const sign = end === 'low' ? 1 : -1;
      const foundDeg = endFound(channel, sign);
      const [low, high] = envelopeDeg(info);
      const deg = Math.min(Math.max(foundDeg + sign * progress.marginDeg, low), high);
      keep({ ends: { ...progress.ends, [end]: foundDeg } });
      message.value = `The ${end} end is at ${degText(foundDeg)}. Backing off to ${degText(deg)}.`;
      await creepTo(channel, deg, signal);
      const by = conflicts(channels.value[channel]!, end, deg);
      if (!by) return await setLimit(foundDeg);
      message.value = '';
      blocked.value = { deg, by };
    });

  /** What would be left outside the limit comes to where the limit will be. */
  const bringIn = ({ by }: Blocked) =>
    run(async (signal) => {
      const done: string[] = [];
      for (const mark of by.marks) done.push(await must(captureMark(channel, mark)));
      if (by.park !== undefined) done.push(await must(capturePark(channel)));
      signal.throwIfAborted();
      const said = await must(captureLimit(channel, end));
      await refresh();
      next({ written: [...progress.written, ...done, said] });
    });

  return (
    <>
      <div class="row">
        <label for="walk-margin">Margin (deg)</label>
        <input
          id="walk-margin"
          type="number"
          min={0}
          max={MARGIN_DEG.max}
          step="any"
          inputMode="decimal"
          value={progress.marginDeg}
          aria-describedby="walk-margin-hint"
          onChange={(event) => {
            const { value, validity } = event.currentTarget;
            if (value !== '' && validity.valid) keep({ marginDeg: Number(value) });
            else event.currentTarget.value = String(progress.marginDeg);
          }}
        />
        <span class="hint" id="walk-margin-hint">
          So far inside the end the limit is set, 0 to {MARGIN_DEG.max} deg.
        </span>
      </div>
      <p class="row">
        <button
          type="button"
          class="primary big"
          disabled={!commanding.value || isBusy.value}
          onClick={thisIsTheEnd}
        >
          This is the {end} end
        </button>
      </p>
      <p class="hint">It then backs off by the margin, slowly, and the limit is set there.</p>
      {blocked.value && (
        <Remedy {...props} blocked={blocked.value} isBusy={isBusy.value} onBringIn={bringIn} />
      )}
      {props.progress.step === 'first' && (
        <p>
          <button
            type="button"
            onClick={() => {
              blocked.value = undefined;
              keep({ firstEnd: otherEnd(end) });
            }}
          >
            Begin with the {otherEnd(end)} end instead
          </button>
        </p>
      )}
      <Message text={message} />
    </>
  );
}

/** While it pushes, the mechanism is not where the servo was sent: what is measured counts. */
function endFound(channel: string, sign: number): number {
  const { value, measuredDeg, pushing } = stateOf(channel).value;
  const commandedDeg = value as number;
  if (!pushing || measuredDeg === undefined) return commandedDeg;
  return sign > 0 ? Math.max(commandedDeg, measuredDeg) : Math.min(commandedDeg, measuredDeg);
}

async function must(capture: Promise<string | undefined>): Promise<string> {
  const said = await capture;
  if (!said) throw new Error(trouble.value);
  return said;
}

function Remedy(
  props: StepProps & {
    end: End;
    blocked: Blocked;
    isBusy: boolean;
    onBringIn: (blocked: Blocked) => void;
  },
) {
  const { blocked, end, progress, keep, isBusy } = props;
  const { deg, by } = blocked;
  const other = otherEnd(end);
  if (by.otherLimit !== undefined) {
    const where = end === 'low' ? 'above' : 'below';
    const isOurs = progress.step === 'second';
    return (
      <div role="alert" class="remedy">
        <p>
          The {end} limit would be at {degText(deg)}, but the {other} limit is at{' '}
          {degText(by.otherLimit)}, and must be {where} it.{' '}
          {isOurs
            ? 'The two ends are too close together: take a smaller margin, or go back and find the other end again.'
            : `Set the ${other} limit first.`}
        </p>
        {!isOurs && (
          <button type="button" onClick={() => keep({ firstEnd: other })}>
            Find the {other} end first
          </button>
        )}
      </div>
    );
  }
  const left = [
    ...by.marks.map((mark) => `the mark ${mark}`),
    ...(by.park === undefined ? [] : [`the park position, ${degText(by.park)}`]),
  ].join(', ');
  return (
    <div role="alert" class="remedy">
      <p>
        A {end} limit at {degText(deg)} would leave outside: {left}. Bring that to {degText(deg)},
        where the servo stands now; you can place it again in a later step.
      </p>
      <button
        type="button"
        disabled={!commanding.value || isBusy}
        onClick={() => props.onBringIn(blocked)}
      >
        Bring it here, then set the limit
      </button>
    </div>
  );
}
