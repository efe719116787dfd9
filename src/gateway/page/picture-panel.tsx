import './picture.css';
import { computed, signal, useComputed, useSignal } from '@preact/signals';
import type { ComponentChildren } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import type { ChannelInfo } from '../../api/types.ts';
import { Schematic } from '../../drawings/schematic.tsx';
import { useSeenState } from './in-view.ts';
import { boxes, broken, hasPicture, opened, picture } from './picture-data.ts';
import { shownOf } from './picture-mark.ts';
import { refusedChannels } from './refused-channels.ts';
import { channels } from './store.ts';
import { Flags, Value } from './value.tsx';
import { search, searchText } from './wiring-data.ts';
import { showFault } from './wiring-fault.tsx';

/** From this width on the picture stands beside a view, and is open unless somebody has folded it. */
const BESIDE = matchMedia('(min-width: 80rem)');
const isBeside = signal(BESIDE.matches);
BESIDE.addEventListener('change', () => {
  isBeside.value = BESIDE.matches;
});

/** Whether the picture is open on a view; the desk has one of its own, which shows a rehearsal. */
export const isOpenOn = (view: string): boolean =>
  opened.made.value.get(view) ?? (isBeside.value && hasPicture.value && view !== 'cues');

/** Folds and opens the picture on a view; it takes no room of its own. */
export function PictureToggle({ view }: { view: string }) {
  const open = isOpenOn(view);
  return (
    <span class="picture-toggle">
      <button
        type="button"
        aria-expanded={open}
        aria-controls="picture"
        aria-label="Picture of the prop"
        title="Picture of the prop"
        onClick={() => {
          opened.set(view, !open);
          // It opens above what is shown.
          if (!open && !isBeside.peek()) scrollTo({ top: 0 });
        }}
      >
        <svg viewBox="0 0 24 24" aria-hidden="true">
          <rect x="3" y="4" width="18" height="16" rx="2" />
          <path d="M3 17l5.5-6 4 4.5 3-3 5.5 5.5" />
          <circle cx="16" cy="9" r="1.6" />
        </svg>
      </button>
    </span>
  );
}

/** The channel whose sheet is open. */
const chosen = signal('');

/**
 * The prop as a picture or, without one, as a schematic: what moves, what is lit, what was refused. A tap
 * opens a sheet with the ways to a channel; nothing moves by it.
 */
export function PicturePanel() {
  const shown = picture.value;
  if (!shown || Object.keys(channels.value).length === 0)
    return <aside class="picture" id="picture" aria-label="Picture of the prop" />;
  return (
    <aside class="picture" id="picture" aria-label="Picture of the prop">
      {hasPicture.value ? <Photo /> : <Schematic boxes={boxes.value} mark={namedMark} />}
      <Opened />
      <Legend />
      <p class="hint">
        {shown.problem ??
          (shown.address !== undefined && !hasPicture.value
            ? 'The browser cannot show the picture: choose another. '
            : '')}
        {!hasPicture.value && (
          <a href="#setup/picture">{shown.file === undefined ? 'Add a picture' : 'Change it'}</a>
        )}
      </p>
    </aside>
  );
}

const namedMark = (name: string) => <Mark channel={name} named />;

/** Channels that have no place on the picture, by their groups. */
const unplaced = computed(() => {
  const places = picture.value?.places ?? {};
  return boxes.value
    .map((box) => ({ ...box, names: box.names.filter((name) => !Object.hasOwn(places, name)) }))
    .filter(({ names }) => names.length > 0);
});

function Photo() {
  const { places = {} } = picture.value ?? {};
  return (
    <>
      <Stage>
        {Object.entries(places).map(([channel, at]) => (
          <Mark key={channel} channel={channel} at={at} />
        ))}
      </Stage>
      {unplaced.value.length > 0 && <Schematic boxes={unplaced.value} mark={namedMark} />}
    </>
  );
}

/** So near to a mark a tap is meant for it (px). */
const NEAR_PX = 32;

/** The picture in its proportion, with what stands on it. */
export function Stage(props: {
  children: ComponentChildren;
  /** A tap between the marks: [x, y] from 0 to 1. */
  onTap?: (at: [number, number]) => void;
}) {
  const { address, width = 1, height = 1 } = picture.value ?? {};
  const box = useRef<HTMLDivElement>(null);
  const tap = useRef(props.onTap);
  tap.current = props.onTap;
  // The marks are the buttons: a tap beside them is for a finger alone.
  useEffect(() => {
    const stage = box.current!;
    const onClick = ({ target, clientX, clientY }: MouseEvent) => {
      if ((target as Element).closest('button')) return;
      const { x, y, width: w, height: h } = stage.getBoundingClientRect();
      if (tap.current) tap.current([(clientX - x) / w, (clientY - y) / h]);
      else nearest(stage, clientX, clientY)?.click();
    };
    stage.addEventListener('click', onClick);
    return () => stage.removeEventListener('click', onClick);
  }, []);
  return (
    <div
      class="stage"
      ref={box}
      style={{ aspectRatio: `${width} / ${height}`, '--ratio': width / height }}
    >
      <img
        src={address}
        alt=""
        draggable={false}
        onError={() => {
          broken.value = address ?? '';
        }}
      />
      {props.children}
    </div>
  );
}

/** A finger is larger than a mark. */
function nearest(stage: Element, x: number, y: number): HTMLElement | undefined {
  let best: HTMLElement | undefined;
  let least = NEAR_PX;
  for (const mark of stage.querySelectorAll<HTMLElement>('.mark')) {
    const box = mark.getBoundingClientRect();
    const away = Math.hypot(x - box.x - box.width / 2, y - box.y - box.height / 2);
    if (away < least) [best, least] = [mark, away];
  }
  return best;
}

/** A place on the picture, as CSS. @param place from 0 to 1, from the top left */
export function placeStyle([x, y]: readonly [number, number]): string {
  return `left:${(100 * x).toFixed(2)}%;top:${(100 * y).toFixed(2)}%`;
}

interface MarkProps {
  channel: string;
  /** Where it is on the picture. */
  at?: readonly [number, number];
  /** Its name stands beside it. */
  named?: boolean;
}

function Mark(props: MarkProps) {
  const info = channels.value[props.channel];
  // The places are read a moment after the channels.
  return info ? <LiveMark {...props} info={info} /> : null;
}

function LiveMark({ channel, at, named = false, info }: MarkProps & { info: ChannelInfo }) {
  const { ref, state } = useSeenState<HTMLButtonElement>(channel);
  const shown = useComputed(() => shownOf(info, state.value, refusedChannels.value.has(channel)));
  const look = useComputed(() => `mark ${shown.value.look} ${named ? 'is-named' : ''}`);
  const words = useComputed(() => `${channel}: ${shown.value.words}`);
  const light = useComputed(() => shown.value.light && `--light:${shown.value.light}`);
  const sign = useComputed(() => shown.value.sign);
  const isChosen = useComputed(() => chosen.value === channel);
  return (
    <button
      type="button"
      ref={ref}
      class={look}
      style={at && placeStyle(at)}
      aria-label={words}
      aria-pressed={isChosen}
      onClick={() => {
        chosen.value = chosen.peek() === channel ? '' : channel;
      }}
    >
      <span class="mark-dot" style={light} aria-hidden="true">
        {sign}
      </span>
      <span class="mark-name" aria-hidden="true">
        {channel}
      </span>
    </button>
  );
}

/** The channel that was tapped, and the ways to it. */
function Opened() {
  const channel = chosen.value;
  const info = channels.value[channel];
  return (
    <div aria-live="polite">{info && <Ways key={channel} channel={channel} info={info} />}</div>
  );
}

function Ways({ channel, info }: { channel: string; info: ChannelInfo }) {
  const box = useRef<HTMLElement>(null);
  useEffect(() => box.current?.scrollIntoView({ block: 'nearest' }), []);
  const refused = useComputed(() => {
    const words = refusedChannels.value.get(channel)?.words;
    return words ? `! Refused: ${words}.` : '';
  });
  return (
    <section class="ways" ref={box} aria-label={`Ways to ${channel}`}>
      <h3>{channel}</h3>
      <p>
        <Value name={channel} kind={info.kind} /> <Flags name={channel} kind={info.kind} />
      </p>
      <p class="refused-words">{refused}</p>
      <div class="row">
        <a class="button" href={`#bench/${channel}`}>
          Controls
        </a>
        <button
          type="button"
          onClick={() => {
            searchText.value = info.wire ?? channel;
            void search();
            goTo('wiring/find');
          }}
        >
          Wire{info.wire && ` ${info.wire}`}
        </button>
        <button
          type="button"
          onClick={() => {
            showFault(channel);
            goTo('wiring/fault');
          }}
        >
          Fault finding
        </button>
        <button
          type="button"
          aria-label={`Close ${channel}`}
          onClick={() => {
            chosen.value = '';
          }}
        >
          Close
        </button>
      </div>
    </section>
  );
}

/** Another view is not there yet when the browser looks for the place in the address. */
function goTo(id: string): void {
  location.hash = `#${id}`;
  requestAnimationFrame(() =>
    requestAnimationFrame(() => document.getElementById(id)?.scrollIntoView()),
  );
}

/** What the marks mean. */
function Legend() {
  const open = useSignal(false);
  return (
    <details
      class="legend"
      open={open.value}
      onToggle={(event) => {
        open.value = event.currentTarget.open;
      }}
    >
      <summary>What the marks mean</summary>
      <ul>
        {SIGNS.map(([look, sign, words]) => (
          <li key={words}>
            <span class={`mark ${look}`} aria-hidden="true">
              <span class="mark-dot">{sign}</span>
            </span>
            {words}
          </li>
        ))}
      </ul>
    </details>
  );
}

const SIGNS = [
  ['is-servo', '', 'servo, holding'],
  ['is-servo is-moving', '', 'moves (ring)'],
  ['is-servo is-limp', '', 'limp (dashed)'],
  ['is-servo is-lost', '?', 'position unknown'],
  ['is-servo is-refused', '!', 'refused last'],
  ['is-lamp', '', 'light, dark'],
  ['is-lamp is-lit', '', 'lit, in its colour (rays)'],
  ['is-relay', '', 'relay, off'],
  ['is-relay is-on', 'on', 'relay, on'],
] as const;
