import './measure.css';
import { type Signal, useSignal } from '@preact/signals';
import { useEffect, useId } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { tidy } from '../../shared/units.ts';
import type { CalibrationPoint } from '../../sums/calibration.ts';
import { pointProblem } from '../../sums/measured-points.ts';
import type { HingeAlong } from '../../sums/tilt.ts';
import { Act } from './act.tsx';
import { degText } from './bench-moves.ts';
import { Thumb } from './bench-pad.tsx';
import { browserKept } from './kept.ts';
import { linkState } from './link.ts';
import {
  ALONG,
  calibrationPoint,
  fresh,
  load,
  type Outcome,
  outcomeOf,
  type Reading,
  save,
  servoEdits,
} from './measure-points.ts';
import { ProtractorChoice, ProtractorPaper } from './measure-protractor.tsx';
import { MeasureSelf } from './measure-self.tsx';
import { Said, WriteRow } from './measure-write.tsx';
import { measuredText } from './measured.ts';
import type { ChannelProps } from './page-kind.ts';
import { isUnknown } from './standing.ts';
import { propName, stateOf } from './store.ts';
import { Tick } from './tick.tsx';
import { phoneAngle, rawAngle, startTilt, stopTilt, tilt, tiltMissing } from './tilt-source.ts';

const usText = (us: number) => `${us.toFixed(0)} us`;

/** Pulse against true angle: two or more points, read from a protractor or from the phone on the flap. */
export function MeasureServo({ channel, info }: ChannelProps) {
  const prop = propName.value;
  const reading = useSignal<Reading>(load(browserKept, prop, channel, info) ?? fresh());
  const say = useSignal('');
  const wrote = useSignal('');
  const keep = (change: Partial<Reading>) => {
    reading.value = { ...reading.value, ...change };
    save(browserKept, prop, channel, info, reading.value);
  };
  useEffect(() => stopTilt, []);

  const take = (deg: number) => {
    const problem = takeProblem(channel, info, reading.value, deg);
    if (problem) {
      say.value = `Not taken: ${problem}.`;
      return;
    }
    const point: CalibrationPoint = [tidy(stateOf(channel).peek().pulseUs!, 1), tidy(deg, 1)];
    keep({ points: [...reading.value.points, point] });
    say.value = `Taken: ${usText(point[0])} is ${degText(point[1])}.`;
  };

  const { points, of } = reading.value;
  return (
    <div class="measure">
      <Thumb
        channel={channel}
        info={info}
        head={
          <div class="walk-head">
            <h2>True angle of {channel}</h2>
            <p>Move it, read its true angle, take the point.</p>
          </div>
        }
        capture={<TakeRow reading={reading.value} keep={keep} take={take} />}
        say={say}
        hands="feel"
        beyondLimits
      />
      <section class="sheet" aria-labelledby="measure-points">
        <h2 id="measure-points">Points</h2>
        <p>
          Two or more, as far apart as it may go. Come to each from the same side: gears have play.
        </p>
        <p class="hint">In the prop file: {measuredText(info, 'calibration')}.</p>
        {info.linkage && (
          <label class="row">
            The angles are those of{' '}
            <select
              value={of}
              disabled={points.length > 0}
              onChange={(event) => keep({ of: event.currentTarget.value as Reading['of'] })}
            >
              <option value="flap">the flap</option>
              <option value="horn">the horn of the servo</option>
            </select>
          </label>
        )}
        {points.length === 0 ? (
          <p>None yet. They stay in this browser until they are written.</p>
        ) : (
          <PointList points={points} keep={keep} say={say} />
        )}
        <Result channel={channel} info={info} reading={reading.value} keep={keep} say={wrote} />
        <Said say={wrote} />
      </section>
      <MeasureSelf channel={channel} info={info} />
      <section class="sheet" aria-labelledby="measure-tools">
        <h2 id="measure-tools">What to read it with</h2>
        <h3>Protractor on paper</h3>
        <ProtractorChoice />
        <p class="hint">Measure its two 100 mm lines after printing.</p>
        <h3>This phone on the flap</h3>
        <Phone reading={reading.value} keep={keep} />
        <p class="row">
          <a class="button" href={`#bench/${channel}`}>
            To the bench
          </a>
        </p>
      </section>
      <ProtractorPaper />
    </div>
  );
}

/** Why no point can be taken now; undefined where one can. */
function takeProblem(
  channel: string,
  info: ChannelInfo,
  { points, of }: Reading,
  deg: number,
): string | undefined {
  const state = stateOf(channel).peek();
  if (linkState.peek() !== 'open') return 'the link is lost, so nobody knows where it stands';
  if (isUnknown(state)) return 'nobody knows where it stands; wake the prop first';
  if (!state.pulseUs) return 'it is limp: it gets no pulses; move it a little first';
  if (state.flags.includes('moving')) return 'it still moves; wait until it stands still';
  if (state.pushing)
    return 'it pushes against something, so it is not where its pulse says; go back a little';
  const inHorn = (point: CalibrationPoint) => calibrationPoint(point, info, of);
  return pointProblem(points.map(inHorn), inHorn([state.pulseUs, deg]));
}

interface ReadingProps {
  reading: Reading;
  keep: (change: Partial<Reading>) => void;
}

function TakeRow({ reading, keep, take }: ReadingProps & { take: (deg: number) => void }) {
  const id = useId();
  const text = useSignal('');
  const isOn = tilt.state.value === 'on';
  return (
    <>
      <form
        class="take-row"
        onSubmit={(event) => {
          event.preventDefault();
          take(Number(text.value));
        }}
      >
        <label for={id}>Angle (deg)</label>
        <input
          id={id}
          type="number"
          step="any"
          inputMode="decimal"
          required
          min={-360}
          max={360}
          value={text}
          onInput={(event) => {
            text.value = event.currentTarget.value;
          }}
        />
        <button type="submit" class={isOn ? '' : 'primary'}>
          Take this point
        </button>
      </form>
      {isOn && <PhoneRow reading={reading} keep={keep} take={take} />}
    </>
  );
}

function PhoneRow({ reading, keep, take }: ReadingProps & { take: (deg: number) => void }) {
  const { deg, problem } = phoneAngle(tilt.samples.value, reading);
  return (
    <div class="take-row">
      <span class="number phone-angle">
        {deg === undefined ? '' : degText(tidy(deg, 1))}
        {problem && <span class="hint"> {problem}</span>}
      </span>
      <button
        type="button"
        aria-disabled={reading.points.length > 0}
        onClick={() => {
          if (reading.points.length === 0)
            keep({ zeroDeg: tidy(rawAngle(tilt.samples.peek(), reading.along), 1) });
        }}
      >
        This is 0
      </button>
      <Act
        class="primary"
        can={deg !== undefined && problem === undefined}
        onAct={() => {
          if (deg !== undefined) take(deg);
        }}
      >
        Take the phone’s angle
      </Act>
    </div>
  );
}

function Phone({ reading, keep }: ReadingProps) {
  const state = tilt.state.value;
  const missing = tiltMissing(window);
  const problem = typeof state === 'object' ? state.problem : missing;
  if (problem) return <p>{problem}</p>;
  return (
    <>
      <p class="caution">
        The phone rides on the flap: tape it on, and mind its weight, which the servo has to carry.
        Move in small steps, with your fingers clear of the hinge; better still, let another device
        move it while this one looks on and takes the points.
      </p>
      <div class="row">
        {state === 'off' ? (
          <button type="button" onClick={() => void startTilt()}>
            Use this phone’s tilt
          </button>
        ) : (
          <button type="button" onClick={() => stopTilt()}>
            {state === 'waiting' ? 'Waiting for the phone' : 'Do without the phone'}
          </button>
        )}
        <label>
          The hinge runs along its{' '}
          <select
            value={reading.along}
            disabled={reading.points.length > 0}
            onChange={(event) =>
              keep({ along: event.currentTarget.value as HingeAlong, zeroDeg: 0 })
            }
          >
            {ALONG.map((one) => (
              <option key={one} value={one}>
                {one === 'screen' ? 'screen, straight through it' : one}
              </option>
            ))}
          </select>
        </label>
        <Tick
          checked={reading.turned}
          disabled={reading.points.length > 0}
          onTick={(checked) => keep({ turned: checked })}
        >
          Count the other way
        </Tick>
      </div>
      <p class="hint">
        Set zero and direction before the first point. On an upright hinge the tilt does not change:
        use the protractor.
      </p>
    </>
  );
}

function PointList({
  points,
  keep,
  say,
}: {
  points: Reading['points'];
  keep: ReadingProps['keep'];
  say: Signal<string>;
}) {
  return (
    <ul class="measure-list" aria-label="Points taken">
      {points.map(([us, deg], i) => (
        <li key={`${us} ${deg}`}>
          <span class="number">
            {usText(us)}: {degText(deg)}
          </span>
          <button
            type="button"
            aria-label={`Leave out the point at ${usText(us)}`}
            onClick={() => {
              keep({ points: points.filter((_, j) => j !== i) });
              say.value = `Left out: ${usText(us)}.`;
            }}
          >
            Leave out
          </button>
        </li>
      ))}
    </ul>
  );
}

/** What the points come to, what changes with it, and the button that writes it. */
function Result({
  channel,
  info,
  reading,
  keep,
  say,
}: ChannelProps & ReadingProps & { say: Signal<string> }) {
  const keepPlaces = useSignal(true);
  if (reading.points.length < 2)
    return reading.points.length === 1 ? <p>One more point, at least.</p> : null;
  let outcome: Outcome;
  try {
    outcome = outcomeOf(reading, info);
  } catch (error) {
    return <p role="alert">These points make no calibration: {(error as Error).message}.</p>;
  }
  const { degPerUs, questioned, beyond, difference, rows, outside } = outcome;
  const mayWrite = keepPlaces.value || outside.length === 0;
  return (
    <>
      <h3>What they come to</h3>
      <p>
        {degText(tidy(degPerUs * 100, 2))} for 100 us
        {degPerUs < 0 && ': the angle falls as the pulse rises'}. It differs from the prop file by
        up to {degText(tidy(Math.abs(difference.deg), 1))}, at {usText(difference.atUs)}.
      </p>
      {questioned && (
        <p class="caution">
          Is the point at {usText(questioned.pulseUs)} right? It is{' '}
          {degText(tidy(Math.abs(questioned.offDeg), 1))} off the line through the others
          {reading.points.length === 3 && ', or one of those is wrong'}. Read it again; if it stays,
          the servo is not straight there, and that may be written.
        </p>
      )}
      {beyond.map(({ endUs, endDeg, byUs, errorDeg }) => (
        <p key={endUs} class="hint">
          From the last point to the end of the pulse envelope, {usText(endUs)}, nothing is
          measured: {usText(byUs)} are extrapolated, to {degText(tidy(endDeg, 1))}. Readings that
          are 1 deg wrong make {degText(tidy(errorDeg, 1))} there.
        </p>
      ))}
      <fieldset class="plain">
        <legend>What becomes of limits, marks and park position</legend>
        {(
          [
            [true, 'They stay where they are, and get the true numbers.'],
            [false, 'Their numbers stay: from then on they mean other places.'],
          ] as const
        ).map(([value, text]) => (
          <label key={text} class="check">
            <input
              type="radio"
              name="measure-places"
              checked={keepPlaces.value === value}
              onChange={() => {
                keepPlaces.value = value;
              }}
            />
            {text}
          </label>
        ))}
      </fieldset>
      <div class="measure-scroll">
        <table>
          <thead>
            <tr>
              <th scope="col">Place</th>
              <th scope="col">now</th>
              <th scope="col">then</th>
            </tr>
          </thead>
          <tbody>
            {rows.map(({ name, deg, pulseUs, newDeg, newUs }) => (
              <tr key={name}>
                <th scope="row">{name}</th>
                <td class="number">
                  {degText(deg)}, {usText(pulseUs)}
                </td>
                <td class="number">
                  {keepPlaces.value
                    ? `${degText(newDeg)}, ${usText(pulseUs)}`
                    : `${degText(deg)}, ${usText(newUs)}`}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      {!mayWrite && (
        <p role="alert">
          With their old numbers these would lie outside the pulse envelope: {outside.join(', ')}.
        </p>
      )}
      <p class="hint">
        Cues, poses, takes and interlocks that name a mark follow it. Where they have a number of
        degrees, that number stays and means another place: look at them afterwards. Speeds count
        true degrees from then on.
      </p>
      <WriteRow
        channel={channel}
        info={info}
        label="Write this calibration"
        what={`the calibration of ${channel}`}
        can={mayWrite}
        say={say}
        edits={(now, date) =>
          servoEdits(channel, now, outcomeOf(reading, now), keepPlaces.peek(), date)
        }
        onWritten={() => keep({ points: [] })}
      />
      <p class="hint">
        A calibration takes effect when the prop is parked. The version before is kept.
      </p>
    </>
  );
}
