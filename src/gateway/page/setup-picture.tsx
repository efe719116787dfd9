import './setup-picture.css';
import { computed, signal } from '@preact/signals';
import { useId, useRef } from 'preact/hooks';
import { Act } from './act.tsx';
import { type Edits, undoable, undoLast, writeEdits } from './file-change.ts';
import { call } from './link.ts';
import { hasPicture, picture, readPicture } from './picture-data.ts';
import { placeStyle, Stage } from './picture-panel.tsx';
import { movedBy, type Places, placeEdits, within } from './picture-places.ts';
import { sendPicture, sent } from './picture-send.ts';
import { channels, holding, refuse, version } from './store.ts';

/** What the last picture that was sent is without, in words. */
const note = signal('');

/** Changes the part of the prop file that is about the picture. @returns whether it was written */
async function apply(what: string, edits: Edits): Promise<boolean> {
  const { version: before } = await call('prop.read', {});
  return (await writeEdits(what, edits, before)) !== undefined;
}

/** Does what is asked for, and shows why not where it is refused. */
async function tried(work: () => Promise<unknown>): Promise<void> {
  try {
    await work();
  } catch (error) {
    refuse(error);
  }
}

/** A photo or drawing of the prop, and where each channel is on it. */
export function PictureSetUp() {
  return (
    <div class="setup-picture">
      <Choose />
      {hasPicture.value && <PlaceSheet />}
    </div>
  );
}

function Choose() {
  const { file, problem } = picture.value ?? {};
  const can = holding.value && sent.value === undefined;
  const change = undoable(version.value);
  return (
    <section class="sheet" aria-labelledby="setup-picture">
      <h2 id="setup-picture">Picture of the prop</h2>
      <p>
        With a photo or drawing every view shows on it what moves, what is lit and what was refused.
        {file === undefined && ' Without one there is a schematic by groups.'}
      </p>
      <p class="caution">
        A photo may show faces and the place where it was taken. Where and when it was taken is
        removed from the file. It is kept on the prop, and whoever may open this page can see it.
      </p>
      {!holding.value && <p class="hint">Take control to change the picture.</p>}
      <div class="row">
        <FileButton label={file === undefined ? 'Choose a picture' : 'Choose another'} can={can} />
        <FileButton label="Take a photo" can={can} camera />
        {file !== undefined && (
          <Act
            can={can}
            onAct={() => tried(() => apply('the picture removed', [{ path: ['picture'] }]))}
          >
            Remove the picture
          </Act>
        )}
        {change && (
          <Act can={can} onAct={() => void undoLast()}>
            Undo: {change.what}
          </Act>
        )}
      </div>
      <p class="hint">
        PNG, JPEG or plain SVG, 5 MB at most. A large photo is made smaller before it is sent.
      </p>
      {sent.value !== undefined && (
        <p>
          <progress max={1} value={sent.value} aria-label="Sending the picture" />{' '}
          <span class="number">{Math.round(100 * sent.value)} %</span>
        </p>
      )}
      <p role="status">{note.value}</p>
      {problem !== undefined && <p class="notice">{problem}</p>}
    </section>
  );
}

/** A button that opens the browser's choice of files, or the camera of a phone. */
function FileButton({ label, can, camera }: { label: string; can: boolean; camera?: boolean }) {
  const input = useRef<HTMLInputElement>(null);
  return (
    <span class={camera ? 'camera' : ''}>
      <Act can={can} onAct={() => input.current?.click()}>
        {label}
      </Act>
      <input
        ref={input}
        hidden
        type="file"
        aria-label={label}
        accept="image/png,image/jpeg,image/svg+xml"
        capture={camera ? 'environment' : undefined}
        onChange={(event) => {
          const file = event.currentTarget.files?.[0];
          event.currentTarget.value = '';
          if (file) void tried(() => use(file));
        }}
      />
    </span>
  );
}

async function use(given: File): Promise<void> {
  note.value = '';
  const { file, leftOut } = await sendPicture(given);
  const edit =
    picture.peek()?.file === undefined
      ? { path: ['picture'], value: { file, places: {} } }
      : { path: ['picture', 'file'], value: file };
  if (picture.peek()?.file !== file && !(await apply('the picture', [edit]))) return;
  await readPicture();
  note.value = `${file} is the picture now.${leftOut.length > 0 ? ` It is without ${leftOut.join(', ')}.` : ''}`;
}

/** Places as they are being changed; undefined while they are those of the file. */
const draft = signal<Places | undefined>(undefined);
const saved = computed<Places>(() => picture.value?.places ?? {});
const places = computed<Places>(() => draft.value ?? saved.value);
const without = computed(() =>
  Object.keys(channels.value).filter((name) => !Object.hasOwn(places.value, name)),
);
/** The channel that the next tap places. */
const wanted = signal('');
const next = computed(() =>
  Object.hasOwn(channels.value, wanted.value) ? wanted.value : (without.value[0] ?? ''),
);

function put(channel: string, at: [number, number]): void {
  draft.value = { ...places.peek(), [channel]: at };
}

function take(channel: string): void {
  const { [channel]: _, ...others } = places.peek();
  draft.value = others;
  wanted.value = channel;
}

function PlaceSheet() {
  const edits = placeEdits(saved.value, places.value);
  const [heading, how] = [useId(), useId()];
  const count = Object.keys(places.value).length;
  return (
    <section class="sheet" aria-labelledby={heading}>
      <h2 id={heading}>Places on the picture</h2>
      <p id={how} class="hint">
        Choose a channel and tap its place. Drag a mark, or move it with the arrow keys (Shift: in
        larger steps); Delete removes it. Nothing on the prop moves.
      </p>
      <div class="row">
        <label>
          Channel to place{' '}
          <select
            value={next.value}
            onChange={(event) => {
              wanted.value = event.currentTarget.value;
            }}
          >
            {next.value === '' && <option value="">all have a place</option>}
            {Object.keys(channels.value).map((name) => (
              <option key={name} value={name}>
                {name}
                {Object.hasOwn(places.value, name) ? ' (placed)' : ''}
              </option>
            ))}
          </select>
        </label>
        <button
          type="button"
          disabled={next.value === ''}
          onClick={() => {
            const channel = next.value;
            place(channel, [0.5, 0.5]);
            requestAnimationFrame(() => document.getElementById(`place-${channel}`)?.focus());
          }}
        >
          Place it in the middle
        </button>
      </div>
      <div class="placing">
        <Stage onTap={([x, y]) => place(next.value, within(x, y))}>
          {Object.entries(places.value).map(([channel, at]) => (
            <PlaceMark key={channel} channel={channel} at={at} describedBy={how} />
          ))}
        </Stage>
      </div>
      <div class="row">
        <Act
          class="primary"
          can={holding.value && edits.length > 0}
          onAct={() =>
            tried(async () => {
              if (!(await apply('places on the picture', edits))) return;
              await readPicture();
              draft.value = undefined;
            })
          }
        >
          Save the places
        </Act>
        <Act
          can={draft.value !== undefined}
          onAct={() => {
            draft.value = undefined;
          }}
        >
          Discard
        </Act>
        <span role="status">
          {count} of {Object.keys(channels.value).length} channels placed
          {edits.length > 0 ? ', not saved yet' : ''}
        </span>
      </div>
      <ul class="placed">
        {Object.entries(places.value).map(([channel, at]) => (
          <li key={channel}>
            <span>{channel}</span>
            <span class="number soft">{whereText(at)}</span>
            <button
              type="button"
              aria-label={`Remove the place of ${channel}`}
              onClick={() => take(channel)}
            >
              Remove
            </button>
          </li>
        ))}
      </ul>
    </section>
  );
}

/** The next tap then places the next channel. */
function place(channel: string, at: [number, number]): void {
  if (channel === '') return;
  put(channel, at);
  wanted.value = '';
}

const whereText = ([x, y]: readonly [number, number]) =>
  `${Math.round(100 * x)} % from the left, ${Math.round(100 * y)} % from the top`;

function PlaceMark(props: { channel: string; at: readonly [number, number]; describedBy: string }) {
  const { channel, at, describedBy } = props;
  const held = useRef<{ pointer: number; dx: number; dy: number } | undefined>(undefined);
  const kind = channels.value[channel]?.kind ?? 'servo';
  const spot = (event: PointerEvent) => {
    const box = (event.currentTarget as Element).parentElement!.getBoundingClientRect();
    return [(event.clientX - box.x) / box.width, (event.clientY - box.y) / box.height] as const;
  };
  const drop = () => {
    held.current = undefined;
  };
  return (
    <button
      type="button"
      id={`place-${channel}`}
      class={`mark is-${kind}`}
      style={placeStyle(at)}
      aria-label={`${channel}: ${whereText(at)}`}
      aria-describedby={describedBy}
      onPointerDown={(event) => {
        if (event.button !== 0) return;
        event.currentTarget.setPointerCapture(event.pointerId);
        const [x, y] = spot(event);
        held.current = { pointer: event.pointerId, dx: at[0] - x, dy: at[1] - y };
      }}
      onPointerMove={(event) => {
        if (held.current?.pointer !== event.pointerId) return;
        const [x, y] = spot(event);
        put(channel, within(x + held.current.dx, y + held.current.dy));
      }}
      onPointerUp={drop}
      onPointerCancel={drop}
      onKeyDown={(event) => {
        const to = movedBy(at, event);
        if (to) put(channel, to);
        else if (event.key === 'Delete' || event.key === 'Backspace') take(channel);
        else return;
        event.preventDefault();
      }}
    >
      <span class="mark-dot" aria-hidden="true" />
      <span class="mark-name" aria-hidden="true">
        {channel}
      </span>
    </button>
  );
}
