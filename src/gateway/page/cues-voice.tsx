import './cues-voice.css';
import { batch, computed, effect, signal, useComputed } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import type { Result } from '../../api/methods.ts';
import { withMinus } from '../../shared/minus.ts';
import { tidy } from '../../shared/units.ts';
import { followed } from '../../sums/loudness.ts';
import { Act } from './act.tsx';
import { addCue, cue, cursorS, edit, file, freeCueName, load, said, steps } from './cues-data.ts';
import { NumberInput } from './cues-fields.tsx';
import { addStep, recordOf } from './cues-model.ts';
import { UndoSaved } from './cues-undo.tsx';
import { AddSound } from './cues-voice-add.tsx';
import { type How, howOf, madeOf } from './cues-voice-state.ts';
import { writeChange } from './file-change.ts';
import { forPeople } from './for-people.ts';
import { call, LinkGone, linkState } from './link.ts';
import { CommandSet } from './overview-parts.tsx';
import { Select } from './select.tsx';
import { LoudCaution, SoundControls } from './sound.tsx';
import { channels, holding } from './store.ts';

/** Sounds, how loud they are over time, and the servos that follow them. */

type Loudness = Result<'sound.read'>;

const sound = signal('');
const servo = signal('');
const shown = signal<Loudness | undefined>(undefined);
const why = signal('');
const busy = signal(false);
/** What was said last, and of which sound and servo. */
const told = signal({ of: '', text: '', isInCue: false });

const usualHow = () =>
  howOf(file.value?.data ?? {}, sound.value, servo.value, channels.value[servo.value]);
const how = signal<How>(howOf({}, '', ''));

const names = computed(() => Object.keys(recordOf(file.value?.data.sounds)));
const servos = computed(() =>
  Object.entries(channels.value).filter(([, { kind }]) => kind === 'servo'),
);
const speakers = computed(() =>
  Object.entries(channels.value).filter(([, { kind }]) => kind === 'sound'),
);
/** What the file has of this servo and this sound. */
const made = computed(() => madeOf(file.value?.data ?? {}, sound.value, servo.value, how.value));

const pair = computed(() => `${servo.value} ${sound.value}`);
const tell = (text: string, isInCue = false) => {
  told.value = { of: pair.peek(), text, isInCue };
};

/** While the part is shown: follows the file, and reads the sound that is chosen. Returns its end. */
function watchVoice(): () => void {
  let asked = 0;
  let last = '';
  const ends = [
    effect(() => {
      if (!names.value.includes(sound.peek())) sound.value = names.value[0] ?? '';
    }),
    effect(() => {
      const all = servos.value.map(([name]) => name);
      if (!all.includes(servo.peek()))
        servo.value = all.find((name) => /beak|jaw|mouth/.test(name)) ?? all[0] ?? '';
    }),
    effect(() => {
      const name = sound.value;
      const mine = ++asked;
      shown.value = undefined;
      why.value = '';
      if (name === '' || linkState.value !== 'open') return;
      call('sound.read', { sound: name }).then(
        (result) => {
          if (mine === asked) shown.value = result;
        },
        (error: Error) => {
          if (mine === asked && !(error instanceof LinkGone)) why.value = forPeople(error.message);
        },
      );
    }),
    effect(() => {
      // A change of the file elsewhere leaves the sliders where they are.
      const next = usualHow();
      const mark = JSON.stringify([pair.value, next]);
      if (mark === last) return;
      last = mark;
      how.value = next;
    }),
  ];
  return () => {
    asked++;
    for (const end of ends) end();
  };
}

/** How far open the servo is over time, as it will be made. */
const open = computed(() => {
  const now = shown.value;
  return now && followed(Float64Array.from(now.lufs), now.stepS, how.value);
});

const set = (change: Partial<How>) => {
  how.value = { ...how.peek(), ...change };
  told.value = { of: '', text: '', isInCue: false };
};

export function Voice() {
  useEffect(watchVoice, []);
  if (!file.value) return <p role="status">Loading.</p>;
  if (names.value.length === 0) return <AddSound undo />;
  return (
    <div class="voice">
      <section class="sheet" aria-labelledby="voice">
        <h2 id="voice">Voice</h2>
        <div class="row">
          <Select
            class="field"
            label="Sound"
            value={sound.value}
            options={names.value}
            onPick={(value) => {
              sound.value = value;
            }}
          />
          <Facts />
        </div>
        <Wave />
        {why.value && (
          <p class="caution" role="alert">
            {why.value}
          </p>
        )}
      </section>
      <AddSound undo={servos.value.length === 0} />
      {servos.value.length > 0 && <Follows />}
      {speakers.value.map(([name, info]) => (
        <section key={name} class="sheet" aria-label={`Try ${name}`}>
          <h2>Try {name}</h2>
          <LoudCaution />
          <CommandSet class="bare row" label={name}>
            <SoundControls channel={name} info={info} />
          </CommandSet>
        </section>
      ))}
    </div>
  );
}

function Facts() {
  const now = shown.value;
  if (!now) return null;
  return (
    <p class="hint number">
      {tidy(now.durationS, 2)} s, {lufs(now.wholeLufs)} LUFS, loudest {lufs(now.loudestLufs)}
    </p>
  );
}

const lufs = (value: number) => withMinus(tidy(value, 1));

const WIDTH = 1000;
const HEIGHT = 160;
const LOUDEST = 0;
const SOFTEST = -80;
const yOf = (value: number) =>
  tidy(((LOUDEST - Math.max(value, SOFTEST)) / (LOUDEST - SOFTEST)) * HEIGHT, 1);

/** The loudness as a shape about its middle line, and above it the way of the servo. */
function Wave() {
  const text = useComputed(() => {
    const now = shown.value;
    if (!now) return { shape: '', way: '' };
    const last = Math.max(1, now.lufs.length - 1);
    const x = (i: number) => tidy((i / last) * WIDTH, 1);
    const top = now.lufs.map((one, i) => `${x(i)} ${yOf(one)}`);
    const way = Array.from(
      open.value ?? [],
      (share, i) => `${x(i)} ${tidy(HEIGHT - share * HEIGHT, 1)}`,
    );
    return { shape: `M0 ${HEIGHT}L${top.join('L')}L${WIDTH} ${HEIGHT}Z`, way: `M${way.join('L')}` };
  });
  const { floorLufs, rangeLu } = how.value;
  const label = shown.value
    ? `How loud ${sound.value} is over ${tidy(shown.value.durationS, 2)} s, and how far ${servo.value} opens`
    : 'Reading the sound';
  return (
    <svg
      class="voice-wave"
      viewBox={`0 0 ${WIDTH} ${HEIGHT}`}
      preserveAspectRatio="none"
      role="img"
      aria-label={label}
    >
      <path class="voice-loud" d={text.value.shape} />
      <line class="voice-line" x1={0} x2={WIDTH} y1={yOf(floorLufs)} y2={yOf(floorLufs)} />
      <line
        class="voice-line"
        x1={0}
        x2={WIDTH}
        y1={yOf(floorLufs + rangeLu)}
        y2={yOf(floorLufs + rangeLu)}
      />
      {servo.value && <path class="voice-way" d={text.value.way} />}
    </svg>
  );
}

function Follows() {
  const now = how.value;
  const info = channels.value[servo.value];
  const places = Object.keys(info?.marks ?? {});
  return (
    <section class="sheet" aria-labelledby="follows">
      <h2 id="follows">A servo that follows</h2>
      <p class="hint">
        The line is the path of the servo: shut below the lower dashed line, fully open above the
        upper one. This moves nothing.
      </p>
      <div class="row">
        <Select
          class="field"
          label="Servo"
          value={servo.value}
          options={servos.value.map(([name]) => name)}
          onPick={(value) => {
            servo.value = value;
          }}
        />
        <Place label="In silence" value={now.shut} marks={places} onSet={(shut) => set({ shut })} />
        <Place label="Loudest" value={now.open} marks={places} onSet={(to) => set({ open: to })} />
      </div>
      <div class="voice-sliders">
        <Slider
          label="Silence below (LUFS)"
          value={now.floorLufs}
          min={-80}
          max={-10}
          step={1}
          onSet={(floorLufs) => set({ floorLufs })}
        />
        <Slider
          label="Fully open that much louder (LU)"
          value={now.rangeLu}
          min={3}
          max={60}
          step={1}
          onSet={(rangeLu) => set({ rangeLu })}
        />
        <Slider
          label="Opens within (ms)"
          value={Math.round(now.attackS * 1000)}
          min={0}
          max={300}
          step={5}
          onSet={(ms) => set({ attackS: ms / 1000 })}
        />
        <Slider
          label="Closes within (ms)"
          value={Math.round(now.releaseS * 1000)}
          min={0}
          max={600}
          step={10}
          onSet={(ms) => set({ releaseS: ms / 1000 })}
        />
      </div>
      <div class="row">
        <Act
          can={holding.value && shown.value !== undefined && !busy.value}
          onAct={() => void make()}
        >
          Make {servo.value} follow {sound.value}
        </Act>
        {made.value?.isSame && (
          <button type="button" onClick={putIn}>
            Put both into a cue
          </button>
        )}
        <UndoSaved after={() => tell(said.peek())} />
      </div>
      {!holding.value && <p class="hint">To make it, take control first.</p>}
      <p role="status" class="voice-said">
        {told.value.of === pair.value && told.value.text !== '' ? told.value.text : standing()}{' '}
        {told.value.of === pair.value && told.value.isInCue && (
          <a href={`#cues/desk/${encodeURIComponent(cue.value)}`}>Show it</a>
        )}
      </p>
    </section>
  );
}

/** What the file has of this servo and this sound, in words. */
function standing(): string {
  if (!made.value) return '';
  const { take, isSame } = made.value;
  return isSame
    ? `${servo.value} follows ${sound.value} in take ${take}.`
    : `Take ${take} was made with other settings: make it again to use these.`;
}

async function make(): Promise<void> {
  const before = file.peek()?.version;
  if (before === undefined) return;
  busy.value = true;
  tell('Working it out.');
  const of = pair.peek();
  const what = `${servo.peek()} follows ${sound.peek()}`;
  const result = await writeChange(what, before, 'sound.follow', {
    sound: sound.peek(),
    channel: servo.peek(),
    ...how.peek(),
    version: before,
  });
  batch(() => {
    busy.value = false;
    const text = result
      ? `Take ${result.take} is made, with ${result.points} points.${result.pending ? ' It waits until the prop is parked.' : ''}`
      : 'It was not made; the reason stands above.';
    told.value = { of, text, isInCue: false };
  });
  await load();
}

/** A step with the sound and the take, where the cue on the desk stands. */
function putIn(): void {
  const take = made.peek()?.take;
  if (take === undefined) return;
  const [speaker] = speakers.peek();
  if (cue.peek() === '') addCue(freeCueName(sound.peek()), []);
  edit(
    addStep(steps.peek(), {
      at: cursorS.peek(),
      ...(speaker && { sound: { [speaker[0]]: sound.peek() } }),
      take,
    }).steps,
  );
  tell(`A step with both is in ${cue.peek()} on the desk, not saved yet.`, true);
}

function Place(props: {
  label: string;
  value: number | string;
  marks: readonly string[];
  onSet: (value: number | string) => void;
}) {
  const { label, value, marks, onSet } = props;
  const isMark = typeof value === 'string';
  return (
    <>
      <Select
        class="field"
        label={label}
        value={isMark ? value : ''}
        options={[...marks, ['', 'an angle']]}
        onPick={(mark) => onSet(mark === '' ? 0 : mark)}
      />
      {!isMark && (
        <NumberInput
          label={`${label}, at (deg)`}
          value={value}
          required
          onSet={(deg) => deg !== undefined && onSet(deg)}
        />
      )}
    </>
  );
}

function Slider(props: {
  label: string;
  value: number;
  min: number;
  max: number;
  step: number;
  onSet: (value: number) => void;
}) {
  const { label, value, min, max, step, onSet } = props;
  return (
    <label class="voice-slider">
      <span>{label}</span>
      <input
        type="range"
        min={min}
        max={max}
        step={step}
        value={value}
        onInput={(event) => onSet(event.currentTarget.valueAsNumber)}
      />
      <output class="number">{withMinus(value)}</output>
    </label>
  );
}
