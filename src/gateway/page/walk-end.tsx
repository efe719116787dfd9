import { useSignal } from '@preact/signals';
import { useEffect, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { captureLimit, captureMark, capturePark } from './bench-capture.tsx';
import { creepTo, degText, envelopeDeg, standstill } from './bench-moves.ts';
import { forPeople } from './for-people.ts';
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
  const { channel, info, progress, keep, next, end, say: message, busy: isBusy } = props;
  const blocked = useSignal<Blocked | undefined>(undefined);
  const gone = useRef(new AbortController());
  useEffect(() => {
    const controller = new AbortController();
    gone.current = controller;
    return () => {
      controller.abort();
      isBusy.value = false;
    };
  }, [isBusy]);

  const run = async (work: (signal: AbortSignal) => Promise<void>) => {
    if (isBusy.value || !commanding.value) return;
    isBusy.value = true;
    const { signal } = gone.current;
    try {
      await work(signal);
    } catch (error) {
      message.value = signal.aborted ? '' : `Not set: ${forPeople((error as Error).message)}.`;
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
    message.value = said;
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
      message.value = said;
    });

  return (
    <>
      <div class="end-row">
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
        <Act
          class="primary big"
          can={commanding.value && !isBusy.value}
          onAct={() => void thisIsTheEnd()}
        >
          This is the {end} end
        </Act>
      </div>
      <p class="hint on-wide" id="walk-margin-hint">
        It then backs off by the margin (0 to {MARGIN_DEG.max} deg), slowly, and the limit is set
        there.
      </p>
      {blocked.value && (
        <Remedy
          {...props}
          blocked={blocked.value}
          onBringIn={bringIn}
          onLeave={() => {
            blocked.value = undefined;
          }}
        />
      )}
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
    onBringIn: (blocked: Blocked) => void;
    onLeave: () => void;
  },
) {
  const { blocked, end, progress, keep, busy } = props;
  const leave = (
    <button type="button" onClick={props.onLeave}>
      Not now
    </button>
  );
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
        <p class="row">
          {!isOurs && (
            <button type="button" onClick={() => keep({ firstEnd: other })}>
              Find the {other} end first
            </button>
          )}
          {leave}
        </p>
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
      <p class="row">
        <Act can={commanding.value && !busy.value} onAct={() => props.onBringIn(blocked)}>
          Bring it here, then set the limit
        </Act>
        {leave}
      </p>
    </div>
  );
}
