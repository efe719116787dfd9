import { type ReadonlySignal, useSignal } from '@preact/signals';
import { useMemo } from 'preact/hooks';
import { systemClock } from '../../shared/clock.ts';
import { degText } from './bench-moves.ts';
import { useReadiness } from './bench-ready.tsx';
import { forPeople } from './for-people.ts';
import { useHoldButton } from './hold-button.ts';
import { call } from './link.ts';
import { Choose } from './setup-parts-form.tsx';
import { channels, stateOf } from './store.ts';
import { moveTimeS, type Tried, TryRun } from './try-out.ts';
import { typedNumber } from './typed-number.ts';

/** Two places that are nearer to each other are not offered. */
const LEAST_DEG = 0.1;

const numberOf = (text: string, usual: number | undefined) =>
  text.trim() === '' ? usual : typedNumber(text);

/** Beside speed and acceleration: how long a move takes, and, while it is held, what it looks like. */
export function TryOut({
  channel,
  speed,
  accel,
}: {
  channel: string;
  speed: ReadonlySignal<string>;
  accel: ReadonlySignal<string>;
}) {
  const info = channels.value[channel];
  const said = useSignal('');
  const running = useSignal(false);
  const ends = useSignal('');
  const readiness = useReadiness();
  const { run, slow } = useMemo(() => {
    const slow = { v: 0, a: 1, way: 0 };
    const run = new TryRun({
      move: (to, overS) => {
        const at = stateOf(channel).peek().value as number;
        slow.way = Math.sign(to - at);
        return call('channel.move', { channel, to, overS, wait: true });
      },
      // What it needs to come to rest from that speed: then it does not turn back.
      halt: () =>
        call('channel.jog', {
          channel,
          byDeg: slow.way * Math.max(0.1, slow.v ** 2 / (2 * slow.a)),
        }),
      changed: (now, why) => {
        running.value = now;
        said.value = forPeople(why);
      },
      after: (ms, work) => systemClock.after(ms, work),
    });
    return { run, slow };
  }, [channel, running, said]);
  const button = useHoldButton(run, said);
  if (!info?.limitsDeg) return null;
  const inUse = { speedDegS: info.speedDegS ?? 60, accelDegS2: info.accelDegS2 ?? 300 };
  const tried: Tried = {
    speedDegS: numberOf(speed.value, inUse.speedDegS)!,
    accelDegS2: numberOf(accel.value, inUse.accelDegS2)!,
    jerkDegS3: info.jerkDegS3,
  };
  const sound = tried.speedDegS > 0 && tried.accelDegS2 > 0;
  const above = tried.speedDegS > inUse.speedDegS || tried.accelDegS2 > inUse.accelDegS2;
  const places: [string, number][] = [
    ...Object.entries(info.marks ?? {}),
    ['low limit', info.limitsDeg[0]],
    ['high limit', info.limitsDeg[1]],
  ];
  const pairs = places.flatMap(([a, low], i) =>
    places
      .slice(i + 1)
      .filter(([, high]) => Math.abs(high - low) >= LEAST_DEG)
      .map(([b, high]) => ({ key: `${a}, ${b}`, ends: [low, high] as const })),
  );
  const pair = pairs.find(({ key }) => key === ends.value) ?? pairs[0];
  if (!pair) return null;
  const [from, to] = pair.ends;
  const seconds = (values: Tried) => `${moveTimeS(to - from, values).toFixed(2)} s`;
  const why = !sound
    ? 'Give speed and acceleration above 0.'
    : above
      ? `Faster than the file allows now (${inUse.speedDegS} deg/s, ${inUse.accelDegS2} deg/s²): save it first, then try it.`
      : readiness.value;
  const start = () => {
    if (why) return;
    slow.v = tried.speedDegS;
    slow.a = inUse.accelDegS2;
    run.press([from, to], stateOf(channel).peek().value as number, tried);
  };
  return (
    <fieldset>
      <legend>Try speed and acceleration</legend>
      <Choose
        label="Between"
        options={pairs.map(({ key }) => [key, key] as const)}
        value={pair.key}
        onPick={(key) => {
          ends.value = key;
        }}
      />
      <p>
        {pair.key}: {degText(Math.abs(to - from))} in{' '}
        <strong>{sound ? seconds(tried) : '–'}</strong>
        {sound && seconds(tried) !== seconds({ ...inUse, jerkDegS3: info.jerkDegS3 }) && (
          <> ({seconds({ ...inUse, jerkDegS3: info.jerkDegS3 })} now)</>
        )}
      </p>
      <p class="caution">It can pinch: hands out of it, a hand near Stop.</p>
      <button
        type="button"
        class="tryout"
        aria-disabled={why !== ''}
        aria-pressed={running}
        aria-describedby={`try-${channel}`}
        {...button.props(start)}
      >
        Hold to run back and forth
      </button>
      <p class="hint" id={`try-${channel}`} role="status">
        {said.value ||
          why ||
          'It takes as long as it would at these values, and stops when you let go.'}
      </p>
    </fieldset>
  );
}
