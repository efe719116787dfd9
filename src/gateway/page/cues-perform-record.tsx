import { useSignal } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import { Act } from './act.tsx';
import { AS_TYPED } from './as-typed.ts';
import { degText } from './bench-moves.ts';
import { usable } from './cues-perform-data.ts';
import type { Recorded } from './cues-perform-look.ts';
import {
  beginsAt,
  chosen,
  cueNames,
  endRecording,
  fromGrab,
  isUnsure,
  look,
  movedTwice,
  over,
  playedIn,
  playIn,
  record,
  recording,
  recordSaid,
  save,
  savedAs,
  taken,
  toleranceDeg,
  toRecord,
  trim,
  waiting,
  waitNoMore,
  watchRecording,
} from './cues-perform-take.ts';
import { type Option, Select } from './select.tsx';
import { channels, commanding, holding } from './store.ts';
import { Tick } from './tick.tsx';
import { typedNumber } from './typed-number.ts';

const TOLERANCES_DEG = [0.1, 0.2, 0.5, 1, 2];

/** Records what is led, shows it, and saves it as a take. */
export function Record() {
  useEffect(watchRecording, []);
  const now = recording.value;
  return (
    <section class="sheet" aria-labelledby="record">
      <h2 id="record">Record</h2>
      {now?.recording ? <UnderWay now={now} /> : <Begin isAgain={now !== undefined} />}
      <p role="status" class="perform-said">
        {recordSaid}
      </p>
      {now && !now.recording && <Review now={now} />}
    </section>
  );
}

function Begin({ isAgain }: { isAgain: boolean }) {
  const can = commanding.value && toRecord.value.length > 0;
  const unsaved = isAgain && savedAs.value === '';
  return (
    <>
      <fieldset class="bare">
        <legend>Servos</legend>
        <div class="record-servos">
          {usable.value.map(({ channel }) => (
            <Tick
              key={channel}
              checked={toRecord.value.includes(channel)}
              onTick={(checked) => {
                const names = toRecord.peek().filter((name) => name !== channel);
                chosen.value = checked ? [...names, channel] : names;
              }}
            >
              {channel}
            </Tick>
          ))}
        </div>
      </fieldset>
      <div class="part-field">
        <Select
          label="While this cue runs"
          value={over.value}
          options={[['', 'no cue'], ...cueNames.value]}
          onPick={(name) => {
            over.value = name;
          }}
        />
      </div>
      <Tick
        checked={fromGrab.value}
        onTick={(checked) => {
          fromGrab.value = checked;
        }}
      >
        Begin when I take hold of a control
      </Tick>
      {over.value !== '' && (
        <p class="caution">
          Cue {over.value} moves the prop while you record, except for the servos that you record.
        </p>
      )}
      <div class="row">
        {waiting.value ? (
          <Act can onAct={waitNoMore}>
            Do not record
          </Act>
        ) : (
          <Act class="primary" can={can} onAct={() => void record()}>
            {isAgain ? 'Record again' : 'Record'}
          </Act>
        )}
        {waiting.value ? (
          <p role="status">
            <strong>Take hold of a control: it begins then.</strong>
          </p>
        ) : (
          unsaved && <p class="hint">The recording below is not saved, and is gone then.</p>
        )}
      </div>
    </>
  );
}

/** Beside the controls: hands are there while it records. */
export function RecordingHere() {
  const now = recording.value;
  if (waiting.value) return <strong>It records once you take hold.</strong>;
  if (!now?.recording || isUnsure.value) return null;
  return (
    <Act class="primary" can={holding.value} onAct={() => void endRecording()}>
      End the recording, <span class="number">{now.durationS.toFixed(1)} s</span>
    </Act>
  );
}

function UnderWay({ now }: { now: Recorded }) {
  if (isUnsure.value)
    return (
      <p class="record-on" role="status">
        The link is lost. Whether it still records is seen once the link is back.
      </p>
    );
  return (
    <>
      <p class="record-on" role="status">
        <strong>Recording</strong> {now.channels.join(', ')}
        {now.over !== undefined && <> while cue {now.over} runs</>}
      </p>
      <p class="number record-time">{now.durationS.toFixed(1)} s</p>
      <p class="hint">End it beside the controls.</p>
    </>
  );
}

// --- what was recorded --------------------------------------------------------------------------

function Review({ now }: { now: Recorded }) {
  const { durationS, ended, simplified = {} } = now;
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
  return (
    <div class="record-review">
      <h3>
        Recorded: {now.channels.join(', ')}, {durationS.toFixed(1)} s
      </h3>
      {ended && !ended.endsWith(' ended it') && <p class="hint">It ended: {ended}.</p>}
      <Curves now={now} />
      <div class="part-field">
        <label class="lead-edge">
          Keep from (s)
          <input inputMode="decimal" value={from} onChange={edge(0)} />
        </label>
        <label class="lead-edge">
          to (s)
          <input inputMode="decimal" value={to} onChange={edge(1)} />
        </label>
        <Select
          label="Near to what you did within"
          value={String(toleranceDeg.value)}
          options={TOLERANCES_DEG.map((deg) => [String(deg), degText(deg)])}
          onPick={(deg) => {
            toleranceDeg.value = Number(deg);
            void look();
          }}
        />
        <p class="hint">
          {points} points. A larger tolerance gives a smoother take with fewer of them.
        </p>
      </div>
      <Save now={now} />
      {savedAs.value !== '' && playedIn.value === '' && <PlayIn key={savedAs.value} />}
    </div>
  );
}

function Save({ now }: { now: Recorded }) {
  const typed = useSignal<string | undefined>(undefined);
  const name = typed.value ?? `${now.over ?? 'free'}_${now.channels[0]}`;
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
  const picked = useSignal(recording.peek()?.over ?? '');
  const name = useSignal(savedAs.peek());
  const cue = picked.value || name.value.trim();
  const twice = movedTwice(picked.value);
  return (
    <form
      class="part-field"
      onSubmit={(event) => {
        event.preventDefault();
        if (holding.peek() && cue !== '') void playIn(cue);
      }}
    >
      <Select
        label={`Play take ${savedAs.value} in`}
        value={picked.value}
        options={[['', 'a new cue'], ...cueNames.value.map((one): Option => [one, `cue ${one}`])]}
        onPick={(one) => {
          picked.value = one;
        }}
      />
      {picked.value === '' && (
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
        Put it there, at {beginsAt(picked.value)} s
      </Act>
      {twice.length > 0 && (
        <p class="hint">
          Cue {picked} moves {twice.join(', ')} by itself as well: take those steps out on the{' '}
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
  const { recorded = {}, simplified = {}, durationS } = now;
  const names = Object.keys(recorded);
  const [from, to] = trim.value;
  const x = (s: number) => (WIDTH * s) / Math.max(durationS, 0.02);
  return (
    <figure class="record-curves">
      {names.map((name) => {
        const curve = recorded[name]!;
        const kept = simplified[name] ?? [];
        const limits = channels.value[name]?.limitsDeg;
        const all = curve.map(([, deg]) => deg);
        const [low, high] = spread(Math.min(...all), Math.max(...all), limits);
        const y = (deg: number) => MARGIN + (LANE - 2 * MARGIN) * (1 - (deg - low) / (high - low));
        const line = (points: readonly (readonly [number, number])[]) =>
          points.map(([s, deg]) => `${x(s).toFixed(1)},${y(deg).toFixed(1)}`).join(' ');
        return (
          <div key={name}>
            <p class="hint">
              {name}: {degText(Math.min(...all))} to {degText(Math.max(...all))}
            </p>
            <svg
              viewBox={`0 0 ${WIDTH} ${LANE}`}
              preserveAspectRatio="none"
              role="img"
              aria-label={`${name} in ${durationS.toFixed(1)} s: from ${degText(all[0] ?? 0)} to ${degText(all.at(-1) ?? 0)}, ${kept.length} points`}
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
        Thin: what was recorded. Bold: what is kept. Grey: what is cut off. The first and the last
        moment are 0 s and {durationS.toFixed(1)} s.
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
