import { useSignal } from '@preact/signals';
import { Act } from './act.tsx';
import { AS_TYPED } from './as-typed.ts';
import { degText } from './bench-moves.ts';
import { known } from './cues-data.ts';
import { NumberInput } from './cues-fields.tsx';
import type { Recorded } from './cues-perform-look.ts';
import {
  asItWas,
  beginsAt,
  change,
  changes,
  cueNames,
  look,
  movedTwice,
  pick,
  picked,
  playedIn,
  playIn,
  recording,
  recordSaid,
  reviewed,
  save,
  taken,
  toPlay,
  trim,
} from './cues-perform-take.ts';
import { freeTakeName, pastLimits, rangeOfCurves } from './cues-take-change.ts';
import { type Option, Select } from './select.tsx';
import { channels, holding } from './store.ts';
import { typedNumber } from './typed-number.ts';

/** What was recorded, or a take of the prop: trimmed, changed, saved as a take of its own. */

const TOLERANCES_DEG = [0.1, 0.2, 0.5, 1, 2];

export function Takes() {
  const takes = known.value.takes;
  const isOver = recording.value?.recording === false;
  const now = reviewed.value;
  return (
    <section class="sheet" aria-labelledby="takes">
      <h2 id="takes">Takes</h2>
      {isOver || takes.length > 0 ? (
        <div class="part-field">
          <Select
            label="Change"
            value={picked.value}
            options={[
              ['', isOver ? 'the recording' : 'choose…'],
              ...takes.map((name): Option => [name, `take ${name}`]),
            ]}
            onPick={(name) => void pick(name)}
          />
        </div>
      ) : (
        <p class="hint">Nothing has been recorded, and the prop has no takes yet.</p>
      )}
      <p role="status" class="perform-said">
        {recordSaid}
      </p>
      {now && <Review key={picked.value} now={now} />}
    </section>
  );
}

function Review({ now }: { now: Recorded }) {
  const { ended } = now;
  const title = picked.value === '' ? 'Recorded' : `Take ${picked.value}`;
  return (
    <div class="record-review">
      <h3>
        {title}: {now.channels.join(', ')}, {now.durationS.toFixed(1)} s
      </h3>
      {ended && !ended.endsWith(' ended it') && <p class="hint">It ended: {ended}.</p>}
      <Curves now={now} />
      <Tools now={now} />
      <Save now={now} />
      {toPlay.value !== '' && playedIn.value === '' && <PlayIn key={toPlay.value} />}
    </div>
  );
}

function Tools({ now }: { now: Recorded }) {
  const { durationS, simplified = {} } = now;
  const points = Object.values(simplified).reduce((sum, curve) => sum + curve.length, 0);
  const [from, to] = trim.value;
  const edge = (at: 0 | 1) => (event: Event) => {
    const field = event.currentTarget as HTMLInputElement;
    const s = typedNumber(field.value);
    const next: [number, number] = at === 0 ? [s, to] : [from, s];
    if (next[0] >= 0 && next[0] < next[1] && next[1] <= durationS + 1e-9) {
      trim.value = next;
      void look();
    } else field.value = String(at === 0 ? from : to);
  };
  const { smoothS, widthPercent, aboutDeg, mirrorDeg, shiftDeg, toleranceDeg } = changes.value;
  return (
    <fieldset class="bare">
      <legend>Changes, in this order</legend>
      <div class="part-field record-tools">
        <label class="lead-edge">
          Keep from (s)
          <input inputMode="decimal" value={from} onChange={edge(0)} />
        </label>
        <label class="lead-edge">
          to (s)
          <input inputMode="decimal" value={to} onChange={edge(1)} />
        </label>
        <NumberInput
          label="Smooth over (s)"
          value={smoothS}
          min={0}
          max={10}
          onSet={(s) => change({ smoothS: s || undefined })}
        />
        <NumberInput
          label="Width (%), 100 as it is"
          value={widthPercent}
          min={0}
          max={1000}
          onSet={(percent) => change({ widthPercent: percent === 100 ? undefined : percent })}
        />
        {widthPercent !== undefined && (
          <NumberInput
            label="Width about (deg), empty: its beginning"
            value={aboutDeg}
            onSet={(deg) => change({ aboutDeg: deg })}
          />
        )}
        <NumberInput
          label="Mirror about (deg)"
          value={mirrorDeg}
          onSet={(deg) => change({ mirrorDeg: deg })}
        />
        <NumberInput
          label="Higher by (deg)"
          value={shiftDeg}
          onSet={(deg) => change({ shiftDeg: deg || undefined })}
        />
        <Select
          label="Leave out points"
          value={String(toleranceDeg ?? '')}
          options={[
            ...(picked.value === '' ? [] : [['', 'none'] as const]),
            ...TOLERANCES_DEG.map((deg): Option => [String(deg), `within ${degText(deg)}`]),
          ]}
          onPick={(deg) => change({ toleranceDeg: deg === '' ? undefined : Number(deg) })}
        />
        <p class="hint">
          {points} {points === 1 ? 'point' : 'points'}. A larger tolerance gives a smoother take
          with fewer of them.
        </p>
        <Act can onAct={() => void asItWas()}>
          Without changes
        </Act>
      </div>
    </fieldset>
  );
}

function Save({ now }: { now: Recorded }) {
  const typed = useSignal<string | undefined>(undefined);
  const usual =
    picked.value === ''
      ? `${now.over ?? now.sound?.sound ?? 'free'}_${now.channels[0]}`.slice(0, 60)
      : freeTakeName(picked.value, known.value.takes);
  const name = typed.value ?? usual;
  const can = holding.value && name.trim() !== '';
  return (
    <form
      class="part-field"
      onSubmit={(event) => {
        event.preventDefault();
        if (can) void save(name.trim());
      }}
    >
      <label>
        Name of the take
        <input
          value={name}
          {...AS_TYPED}
          onInput={(event) => {
            typed.value = event.currentTarget.value;
            taken.value = '';
          }}
        />
      </label>
      {taken.value === name.trim() && taken.value !== '' ? (
        <Act can={can} onAct={() => void save(name.trim(), true)}>
          Replace take {taken}
        </Act>
      ) : (
        <Act class="primary" can={can} onAct={() => void save(name.trim())}>
          Save the take
        </Act>
      )}
    </form>
  );
}

/** The take is in the file: a cue plays it, so that the next pass can go over that. */
function PlayIn() {
  const into = useSignal((picked.peek() === '' && recording.peek()?.over) || '');
  const name = useSignal(toPlay.peek());
  const cue = into.value || name.value.trim();
  const twice = movedTwice(into.value);
  return (
    <form
      class="part-field"
      onSubmit={(event) => {
        event.preventDefault();
        if (holding.peek() && cue !== '') void playIn(cue);
      }}
    >
      <Select
        label={`Play take ${toPlay.value} in`}
        value={into.value}
        options={[['', 'a new cue'], ...cueNames.value.map((one): Option => [one, `cue ${one}`])]}
        onPick={(one) => {
          into.value = one;
        }}
      />
      {into.value === '' && (
        <label>
          Name of the new cue
          <input
            value={name.value}
            {...AS_TYPED}
            onInput={(event) => {
              name.value = event.currentTarget.value;
            }}
          />
        </label>
      )}
      <Act class="primary" can={holding.value && cue !== ''} onAct={() => void playIn(cue)}>
        Put it there, at {beginsAt(into.value)} s
      </Act>
      {twice.length > 0 && (
        <p class="hint">
          Cue {into} moves {twice.join(', ')} by itself as well: take those steps out on the{' '}
          <a href={`#cues/desk`}>Desk</a>, or the later one wins.
        </p>
      )}
    </form>
  );
}

const WIDTH = 600;
const LANE = 90;
const MARGIN = 8;

/** Each servo in a lane of its own: what was recorded, what is left of it, and what is cut off. */
function Curves({ now }: { now: Recorded }) {
  const { recorded = {}, simplified = {}, differenceDeg = {}, durationS } = now;
  const names = Object.keys(recorded);
  const [from, to] = trim.value;
  const x = (s: number) => (WIDTH * s) / Math.max(durationS, 0.02);
  return (
    <figure class="record-curves">
      {names.map((name) => {
        const curve = recorded[name]!;
        const kept = simplified[name] ?? [];
        const limits = channels.value[name]?.limitsDeg;
        const [least, most] = rangeOfCurves(curve);
        const [low, high] = spread(...rangeOfCurves(curve, kept), limits);
        const apart = degText(differenceDeg[name] ?? 0);
        const past = pastLimits(name, kept, limits);
        const y = (deg: number) => MARGIN + (LANE - 2 * MARGIN) * (1 - (deg - low) / (high - low));
        const line = (points: readonly (readonly [number, number])[]) =>
          points.map(([s, deg]) => `${x(s).toFixed(1)},${y(deg).toFixed(1)}`).join(' ');
        return (
          <div key={name}>
            <p class="hint">
              {name}: {degText(least)} to {degText(most)}; what is kept differs by {apart} at most
            </p>
            {past && <p class="caution">{past}</p>}
            <svg
              viewBox={`0 0 ${WIDTH} ${LANE}`}
              preserveAspectRatio="none"
              role="img"
              aria-label={`${name} in ${durationS.toFixed(1)} s: from ${degText(curve[0]?.[1] ?? 0)} to ${degText(curve.at(-1)?.[1] ?? 0)}, ${kept.length} points, ${apart} apart at most`}
            >
              <polyline class="record-raw" points={line(curve)} />
              <polyline class="record-kept" points={line(kept)} />
              <rect class="record-cut" x={0} y={0} width={x(from)} height={LANE} />
              <rect class="record-cut" x={x(to)} y={0} width={WIDTH - x(to)} height={LANE} />
            </svg>
          </div>
        );
      })}
      <figcaption class="hint">
        Thin: as it was. Bold: what is kept. Grey: what is cut off. The first and the last moment
        are 0 s and {durationS.toFixed(1)} s.
      </figcaption>
    </figure>
  );
}

/** At least a few degrees high, so that rest is a straight line. */
function spread(
  low: number,
  high: number,
  limits: readonly [number, number] | undefined,
): [number, number] {
  const least = Math.min(10, limits ? limits[1] - limits[0] : 10);
  const more = Math.max(0, least - (high - low)) / 2;
  return [low - more - 0.01, high + more + 0.01];
}
