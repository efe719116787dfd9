import { useSignal } from '@preact/signals';
import { useMemo } from 'preact/hooks';
import { fixed } from '../../prop/senses.ts';
import { withMinus } from '../../shared/minus.ts';
import type { SensePoints } from '../../sums/sense-points.ts';
import { degText } from './bench-moves.ts';
import { useHoldButton } from './hold-button.ts';
import { call } from './link.ts';
import { Said, WriteRow } from './measure-write.tsx';
import type { ChannelProps } from './page-kind.ts';
import { SenseWalk } from './sense-walk.ts';
import { commanding, readingOf, stateOf } from './store.ts';

/** Finds the calibration of a position sense, while a person holds a button. */
export function SenseWalkPart({ channel, info, sense }: ChannelProps & { sense: string }) {
  const say = useSignal('');
  const wrote = useSignal('');
  const points = useSignal<SensePoints | undefined>(undefined);
  const limitsDeg = info.limitsDeg!;
  const walk = useMemo(
    () =>
      new SenseWalk({
        limitsDeg: [limitsDeg[0]!, limitsDeg[1]!],
        commandedDeg: () => stateOf(channel).peek().value as number,
        jog: async (byDeg) => (await call('channel.jog', { channel, byDeg })).target,
        reading: () => readingOf(sense),
        sleep: (ms) => new Promise((resolve) => setTimeout(resolve, ms)),
        say: (text) => {
          say.value = text;
        },
        done: (found) => {
          points.value = found;
        },
      }),
    [channel, sense, limitsDeg[0], limitsDeg[1]],
  );
  const hold = useHoldButton(walk, say);
  return (
    <section class="sheet" aria-labelledby="bench-sense-walk">
      <h2 id="bench-sense-walk">Calibrate the sensor</h2>
      <p>
        While you hold the button, {channel} goes slowly to five angles within its soft limits, and{' '}
        {sense} is read at each. Keep fingers out of the hinge; let go, and it stops.
      </p>
      <p class="row">
        <button
          type="button"
          aria-disabled={!commanding.value}
          {...hold.props(() => {
            points.value = undefined;
            walk.press();
          })}
        >
          Hold to calibrate
        </button>
      </p>
      <p role="status" class="message">
        {say}
      </p>
      {points.value && (
        <>
          <PointTable points={points.value} />
          <WriteRow
            channel={channel}
            info={info}
            label="Write these points"
            what={`the calibration of ${sense}`}
            edits={() => [
              { path: ['senses', sense, 'calibration'], value: points.peek()!.calibration },
            ]}
            say={wrote}
          />
        </>
      )}
      <Said say={wrote} />
    </section>
  );
}

/** The points, and how far each lies from a straight line. */
function PointTable({ points: { calibration, residualsDeg, noiseDeg } }: { points: SensePoints }) {
  return (
    <>
      <ul>
        {calibration.map(([volts, deg], i) => (
          <li key={deg} class="number">
            {volts.toFixed(3)} V is {degText(deg)}{' '}
            <span class="soft">({withMinus(fixed(residualsDeg[i]!, 1))}° off a straight line)</span>
          </li>
        ))}
      </ul>
      <p class="hint">Its readings scatter by {noiseDeg.toFixed(2)}°.</p>
    </>
  );
}
