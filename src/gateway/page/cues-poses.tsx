import { useSignal } from '@preact/signals';
import { tidy } from '../../shared/units.ts';
import { Act } from './act.tsx';
import { askFirst } from './confirm.tsx';
import {
  addCue,
  busy,
  capturePose,
  cue,
  cursorS,
  edit,
  file,
  freeCueName,
  names,
  open,
  poseWords,
  said,
  steps,
} from './cues-data.ts';
import { NumberInput } from './cues-fields.tsx';
import { addStep, recordOf, type Step } from './cues-model.ts';
import { UndoSaved } from './cues-undo.tsx';
import { command, WhyNot } from './overview-parts.tsx';
import { Select } from './select.tsx';
import { channels, commanding, holding } from './store.ts';
import { Tick } from './tick.tsx';

/** The poses of the prop: captured as it stands, gone to, and put into a cue. */
export function Poses() {
  const poses = recordOf(file.value?.data.poses);
  if (!file.value) return <p role="status">Loading.</p>;
  const all = Object.entries(poses);
  return (
    <>
      <section class="sheet" aria-labelledby="poses">
        <h2 id="poses">Poses</h2>
        {all.length === 0 ? (
          <p class="hint">
            The prop has no poses yet. Bring it to where you want it, and capture it.
          </p>
        ) : (
          <>
            <p class="caution">
              Go moves the prop itself: keep hands, hair and sleeves away, and Stop within reach.
            </p>
            <WhyNot />
            <ul class="desk-poses">
              {all.map(([name, values]) => (
                <li key={name} class="desk-pose">
                  <div>
                    <b>{name}</b>
                    <p class="hint">{poseWords(values)}</p>
                  </div>
                  <Act
                    can={commanding.value}
                    aria-label={`Go to ${name}`}
                    onAct={() => void command('pose.go', { pose: name })}
                  >
                    Go
                  </Act>
                </li>
              ))}
            </ul>
          </>
        )}
      </section>
      <Capture poses={Object.keys(poses)} />
      {all.length > 0 && <Blend poses={Object.keys(poses)} />}
    </>
  );
}

/** A pose of the prop as it stands now: of all channels, or of some. */
function Capture({ poses }: { poses: readonly string[] }) {
  const name = useSignal('');
  const some = useSignal(false);
  const picked = useSignal<ReadonlySet<string>>(new Set());
  const all = Object.keys(channels.value);
  const pose = name.value.trim().replaceAll(/\s+/g, '_');
  const isThere = poses.includes(pose);
  const only = some.value ? all.filter((one) => picked.value.has(one)) : undefined;
  const can = holding.value && !busy.value && pose !== '' && only?.length !== 0;
  return (
    <section class="sheet desk-form" aria-labelledby="capture">
      <h2 id="capture">Capture a pose</h2>
      <p class="hint">
        Bring the prop to where you want it, at the bench; then keep that under a name. Capturing
        moves nothing.
      </p>
      <form
        class="desk-fields"
        onSubmit={(event) => {
          event.preventDefault();
          if (!can) return;
          const capture = () => void capturePose(pose, only);
          if (!isThere) capture();
          else
            askFirst({
              title: `Replace values of ${pose}?`,
              text: 'The pose is there already. Its values of these channels become those of now; Undo brings them back.',
              yes: 'Replace them',
              act: capture,
            });
        }}
      >
        <label class="field">
          Name{' '}
          <input
            value={name.value}
            maxLength={60}
            autocomplete="off"
            autocapitalize="off"
            spellcheck={false}
            list="pose-names"
            onInput={(event) => {
              name.value = event.currentTarget.value;
            }}
          />
          <datalist id="pose-names">
            {poses.map((one) => (
              <option key={one} value={one} />
            ))}
          </datalist>
        </label>
        <Tick
          checked={some.value}
          onTick={(checked) => {
            some.value = checked;
          }}
        >
          only some channels
        </Tick>
        {some.value && (
          <fieldset class="pose-picks">
            <legend>Channels</legend>
            {all.map((one) => (
              <Tick
                key={one}
                checked={picked.value.has(one)}
                onTick={(checked) => {
                  const now = new Set(picked.peek());
                  if (checked) now.add(one);
                  else now.delete(one);
                  picked.value = now;
                }}
              >
                {one}
              </Tick>
            ))}
          </fieldset>
        )}
        {!holding.value && <p class="hint">To capture, take control first.</p>}
        <div class="row">
          <button type="submit" aria-disabled={!can}>
            {isThere ? 'Capture it again…' : 'Capture'}
          </button>
          <UndoSaved />
        </div>
      </form>
      <p role="status">{said.value}</p>
    </section>
  );
}

/** Steps of a cue from one pose to another; nothing moves by it. */
function Blend({ poses }: { poses: readonly string[] }) {
  const from = useSignal('');
  const to = useSignal(poses[0] ?? '');
  const overS = useSignal(2);
  const into = useSignal(cue.peek());
  const done = useSignal('');
  const put = () => {
    if (into.peek() === '') addCue(freeCueName('blend'), []);
    else if (into.peek() !== cue.peek()) open(into.peek());
    let all = steps.peek();
    let atS = cursorS.peek();
    if (from.peek()) {
      all = addStep(all, { at: atS, pose: from.peek(), overS: overS.peek() }).steps;
      atS = tidy(atS + overS.peek(), 3);
    }
    const step: Step = { at: atS, pose: to.peek(), overS: overS.peek() };
    edit(addStep(all, step).steps);
    into.value = cue.peek();
    done.value = `It is in ${cue.peek()}, at ${tidy(cursorS.peek(), 2)} s; not saved yet.`;
    cursorS.value = tidy(atS + overS.peek(), 3);
  };
  return (
    <section class="sheet desk-form" aria-labelledby="blend">
      <h2 id="blend">From pose to pose</h2>
      <p class="hint">Puts steps into a cue on the desk. This moves nothing.</p>
      <div class="row">
        <Select
          class="field"
          label="From"
          value={from.value}
          options={[['', 'where it is then'], ...poses]}
          onPick={(value) => {
            from.value = value;
          }}
        />
        <Select
          class="field"
          label="To"
          value={to.value}
          options={poses}
          onPick={(value) => {
            to.value = value;
          }}
        />
        <NumberInput
          label="Over (s)"
          value={overS.value}
          min={0.05}
          required
          onSet={(value) => {
            if (value !== undefined) overS.value = value;
          }}
        />
        <Select
          class="field"
          label="Into"
          value={into.value}
          options={[...names.value, ['', 'a new cue']]}
          onPick={(value) => {
            into.value = value;
          }}
        />
        <button type="button" onClick={put}>
          Put it in
        </button>
      </div>
      <p role="status">
        {done.value}{' '}
        {done.value && (
          <a href={`#cues/desk/${encodeURIComponent(cue.value)}`}>Show it on the desk</a>
        )}
      </p>
    </section>
  );
}
