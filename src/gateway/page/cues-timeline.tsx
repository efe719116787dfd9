import { computed, type Signal, signal, useComputed, useSignalEffect } from '@preact/signals';
import type { TargetedMouseEvent, TargetedPointerEvent } from 'preact';
import { useRef } from 'preact/hooks';
import { clamp, tidy } from '../../shared/units.ts';
import { Closures, lightBand, RailCurve, ServoCurve } from './cues-curve.tsx';
import {
  cue,
  cursorS,
  edit,
  known,
  moreRows,
  type Rehearsed,
  redo,
  rehearsed,
  rows,
  running,
  selected,
  steps,
  times,
  tookS,
  undo,
} from './cues-data.ts';
import {
  addStep,
  type Block,
  blockS,
  blocksOf,
  copyAt,
  endOf,
  FLOW_ROW,
  LEAST_S,
  lengthKey,
  linesOf,
  moveStep,
  newStep,
  POSE_ROW,
  removeStep,
  rowWords,
  type Step,
  type Steps,
  snapped,
  stretch,
  TAKE_ROW,
} from './cues-model.ts';
import { onProp } from './cues-on-prop.tsx';
import { headS, pause, playing } from './cues-play.ts';
import type { Played } from './cues-prop-play.ts';
import { KIND_WORDS } from './kind-words.ts';
import { Select } from './select.tsx';
import { channels, cueList, groups, nowS } from './store.ts';

/** Rows of channels and groups along one time axis, with the steps as blocks in them. */

/** Height of a row (px); the style has the same. */
const ROW_PX = 56;
const RAIL_PX = 48;
/** Each further line of a row (px). */
const LINE_PX = 48;
/** Beside the last step there is room for another one (s). */
const ROOM_S = 2;
/** Movement of a pointer that is no click any more (px). */
const DRAG_PX = 4;
const FINE_S = 0.01;

/** px for each second. */
export const perS = signal(90);
/** The grid that steps snap to (s). */
export const gridS = signal(0.1);

const ZOOMS = [15, 25, 40, 60, 90, 140, 220, 350];

export function zoom(by: 1 | -1): void {
  const at = ZOOMS.findIndex((one) => one >= perS.peek());
  perS.value = ZOOMS[clamp((at < 0 ? ZOOMS.length - 1 : at) + by, 0, ZOOMS.length - 1)]!;
}

/** The step that was copied last. */
const copied = signal<Step | undefined>(undefined);

/** The length of the timeline (s). */
function useLengthS(): number {
  const rehearsedS = rehearsed.value?.of.durationS ?? 0;
  return Math.ceil(Math.max(endOf(times.value), rehearsedS) + ROOM_S);
}

/** Adds a step to a row at the cursor, and selects it. */
export function addAt(row: string, atS: number): void {
  const step = newStep(row, snapped(atS, gridS.peek()), known.peek(), cue.peek());
  if (step) insert(step);
}

function insert(step: Step): void {
  const added = addStep(steps.peek(), step);
  edit(added.steps);
  select(added.at);
}

/** Adds a copy of a step where it ends, and selects it. */
export function copyStep(at: number): void {
  const step = steps.peek()[at];
  const time = times.peek()[at];
  if (!step || !time) return;
  copied.value = step;
  insert(copyAt(step, snapped(Math.max(time.endS, time.startS + 0.5), gridS.peek())));
}

/** Takes a step away; the focus goes to the one before it. */
export function remove(at: number): void {
  edit(removeStep(steps.peek(), at, tookS.peek()));
  const left = steps.peek().length;
  if (left > 0) select(Math.min(at, left - 1));
  else selected.value = -1;
}

/** Selects a step, and brings the focus to its first block. */
export function select(at: number, focus = true): void {
  selected.value = at;
  if (!focus) return;
  requestAnimationFrame(() => {
    const block = document.querySelector<HTMLElement>(`.desk-block[data-step="${at}"]`);
    block?.focus({ preventScroll: true });
    block?.scrollIntoView({ block: 'nearest', inline: 'nearest' });
  });
}

export function Timeline() {
  const box = useRef<HTMLDivElement>(null);
  const lengthS = useLengthS();
  // What is played stays in view.
  useSignalEffect(() => {
    const scroll = box.current;
    const x = headS.value * perS.value;
    if (!playing.value || !scroll) return;
    const seen =
      scroll.clientWidth - (scroll.querySelector<HTMLElement>('.desk-head')?.offsetWidth ?? 0);
    if (x < scroll.scrollLeft || x > scroll.scrollLeft + seen - 16)
      scroll.scrollLeft = Math.max(0, x - seen / 4);
  });
  const all = rows.value;
  const blocks = blocksOf(steps.value);
  const done = rehearsed.value?.of;
  const also = alsoChanged(done, all);
  const lines = all.map((row) => linesIn(row, blocks));
  const width = Math.ceil(lengthS * perS.value);
  const scale = { perS: perS.value, endS: done?.durationS ?? 0 };
  return (
    // biome-ignore lint/a11y/noStaticElementInteractions: its blocks take the keys; here they are read once for all
    <div
      class="desk-scroll"
      ref={box}
      style={`--per-s:${perS.value}px`}
      onKeyDown={(event) => onKeys(event, all)}
    >
      <div class="desk-rows" style={`width:calc(var(--head) + ${width}px)`}>
        <Ruler lengthS={lengthS} />
        {done && isMarked(done) && <Marks of={done} />}
        {all.map((row, i) => (
          <Row key={row} row={row} lines={lines[i]!} done={done} scale={scale} />
        ))}
        {also.map((row) => (
          <Row key={row} row={row} lines={NO_LINES} done={done} scale={scale} />
        ))}
        {done?.rails.map((rail) => (
          <div key={rail.name} class="desk-row is-rail">
            <div class="desk-head">
              <b>{breakable(rail.name)}</b>
              <span class="hint number">
                {tidy(rail.peakA, 2)} of {tidy(rail.limitA, 2)} A
              </span>
            </div>
            <div class="desk-lane">
              <svg
                width={width}
                height={RAIL_PX}
                role="img"
                aria-label={`Load of ${rail.name}: at most ${tidy(rail.peakA, 2)} A at ${tidy(rail.peakAtS, 2)} s, limit ${tidy(rail.limitA, 2)} A`}
              >
                <RailCurve rail={rail} height={RAIL_PX} {...scale} />
              </svg>
            </div>
          </div>
        ))}
        <Line class="desk-cursor" at={cursorS} />
        {playing.value && <Line class="desk-now" at={headS} />}
        {running.value && !playing.value && isWhole(onProp.value) && (
          <Line class="desk-now" at={onPropS} />
        )}
        <Links rows={all} lines={lines} marked={isMarked(done)} />
      </div>
    </div>
  );
}

/** Played otherwise than in the file, nobody knows where the prop is in the cue. */
const isWhole = (now: Played | undefined) =>
  !now || (now.fromS === 0 && now.rate === 1 && !now.loop);

/** Where the prop is in the cue, while it plays it (s). */
const onPropS = computed(() => {
  const { startedS } = cueList.value.cues[cue.value] ?? {};
  return startedS === undefined ? 0 : Math.max(0, nowS.value - startedS);
});

/** In which line each block of a row is, by its place among all; and how many lines the row has. */
interface Lines {
  of: ReadonlyMap<Block, number>;
  count: number;
}

/** A block is at least so wide (px). */
const LEAST_PX = 40;
const MOST_LINES = 4;

function linesIn(row: string, blocks: readonly Block[]): Lines {
  const mine = blocks.filter((block) => block.row === row);
  const spans = mine.map(({ step, part }) => {
    const { startS, spreadS } = times.value[step]!;
    const length = blockS(steps.value[step]!, part, tookS.value[step]);
    return { startS, endS: startS + length + spreadS };
  });
  // Where very much is in one place, a row does not grow for ever.
  const lines = linesOf(spans, LEAST_PX / perS.value).map((line) => line % MOST_LINES);
  return {
    of: new Map(mine.map((block, i) => [block, lines[i]!])),
    count: Math.max(1, ...lines.map((line) => line + 1)),
  };
}

/** A line across all rows, at a time. */
function Line({ class: name, at }: { class: string; at: Signal<number> }) {
  const place = useComputed(() => `left:calc(var(--head) + ${at.value * perS.value}px)`);
  return <div class={name} style={place} aria-hidden="true" />;
}

const isMarked = (done: Rehearsed | undefined): boolean =>
  done?.findings.some((one) => markS(one) !== undefined) ?? false;

/** When a finding is (s): when it happens, or when its step begins. */
function markS({ atS, cue: of, step }: Rehearsed['findings'][number]): number | undefined {
  if (atS !== null) return atS;
  return of === cue.value && step !== null ? times.value[step]?.startS : undefined;
}

/** Joins the blocks of the selected step. */
function Links(props: { rows: readonly string[]; lines: readonly Lines[]; marked: boolean }) {
  const at = selected.value;
  const middles: number[] = [];
  let top = 0;
  for (const { of, count } of props.lines) {
    for (const [{ step }, line] of of)
      if (step === at) middles.push(top + line * LINE_PX + ROW_PX / 2);
    top += ROW_PX + (count - 1) * LINE_PX;
  }
  if (middles.length < 2) return null;
  const first = Math.min(...middles);
  const last = Math.max(...middles);
  const x = (times.value[at]?.startS ?? 0) * perS.value;
  const above = `var(--ruler) + ${props.marked ? 'var(--marks)' : '0px'}`;
  const style = `left:calc(var(--head) + ${x}px);top:calc(${above} + ${first}px);height:${last - first}px`;
  return <div class="desk-link" style={style} aria-hidden="true" />;
}

/** Channels that the rehearsal moves by a pose, or by a cue within this one, and that have no row of their own. */
function alsoChanged(done: Rehearsed | undefined, all: readonly string[]): string[] {
  const members = all.flatMap((row) => [row, ...(groups.value[row] ?? [])]);
  return (done?.channels ?? []).map(({ name }) => name).filter((name) => !members.includes(name));
}

// --- the ruler --------------------------------------------------------------------------------------

function everyS(): number {
  const least = 60 / perS.value;
  return [0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60].find((one) => one >= least) ?? 120;
}

/** The time axis; a tap puts the cursor there. */
function Ruler({ lengthS }: { lengthS: number }) {
  const stepS = everyS();
  const labels = Array.from({ length: Math.floor(lengthS / stepS) + 1 }, (_, i) => i * stepS);
  return (
    <div class="desk-row is-ruler">
      <div class="desk-head hint">time (s)</div>
      <div
        class="desk-lane"
        role="slider"
        tabIndex={0}
        aria-label="Cursor: where the next step is placed"
        aria-valuemin={0}
        aria-valuemax={lengthS}
        aria-valuenow={cursorS.value}
        aria-valuetext={`${tidy(cursorS.value, 2)} s`}
        onClick={(event) => putCursor(event)}
        onKeyDown={(event) => {
          const by = event.shiftKey ? FINE_S : gridS.peek();
          const to = {
            ArrowRight: cursorS.peek() + by,
            ArrowLeft: cursorS.peek() - by,
            PageUp: cursorS.peek() + 1,
            PageDown: cursorS.peek() - 1,
            Home: 0,
            End: endOf(times.peek()),
          }[event.key];
          if (to === undefined) return;
          event.preventDefault();
          event.stopPropagation();
          cursorS.value = tidy(clamp(to, 0, lengthS), 3);
        }}
      >
        {labels.map((at) => (
          <span key={at} class="desk-tick number" style={`left:${at * perS.value}px`}>
            {tidy(at, 2)}
          </span>
        ))}
      </div>
    </div>
  );
}

/** The time under a pointer, in a lane (s). */
function timeAt(event: TargetedMouseEvent<HTMLElement>): number {
  const { left } = event.currentTarget.getBoundingClientRect();
  const s = Math.max(0, (event.clientX - left) / perS.peek());
  return snapped(s, event.shiftKey ? FINE_S : gridS.peek());
}

function putCursor(event: TargetedMouseEvent<HTMLElement>): void {
  cursorS.value = timeAt(event);
  if (playing.peek()) pause();
}

/** Findings at their time, each leading to its step and its words. */
function Marks({ of }: { of: Rehearsed }) {
  const places: { x: number; atS: number; all: number[] }[] = [];
  const timed = of.findings.flatMap((one, i) => {
    const atS = markS(one);
    return atS === undefined ? [] : [{ atS, i }];
  });
  for (const { atS, i } of timed.sort((a, b) => a.atS - b.atS)) {
    const x = atS * perS.value;
    const last = places.at(-1);
    if (last && x - last.x < 44) last.all.push(i);
    else places.push({ x, atS, all: [i] });
  }
  return (
    <div class="desk-row is-marks">
      <div class="desk-head hint">remarks</div>
      <div class="desk-lane">
        {places.map(({ x, atS, all }) => (
          <button
            key={atS}
            type="button"
            class="desk-mark"
            style={`left:${x}px`}
            aria-label={`${all.length === 1 ? 'A remark' : `${all.length} remarks`} at ${tidy(atS, 2)} s`}
            onClick={() => showFinding(all[0]!)}
          >
            !{all.length > 1 && <span class="number"> {all.length}</span>}
          </button>
        ))}
      </div>
    </div>
  );
}

export function showFinding(at: number): void {
  const item = document.getElementById(`desk-remark-${at}`);
  item?.scrollIntoView({ block: 'nearest' });
  item?.querySelector<HTMLElement>('button')?.focus();
}

// --- rows and blocks --------------------------------------------------------------------------------

interface RowProps {
  row: string;
  lines: Lines;
  done: Rehearsed | undefined;
  scale: { perS: number; endS: number };
}

const NO_LINES: Lines = { of: new Map(), count: 1 };

function Row({ row, lines, done, scale }: RowProps) {
  const members = groups.value[row];
  const flashes = done?.flashes.channels[row];
  const most = Math.max(flashes?.flashes ?? 0, flashes?.red ?? 0);
  const canAdd = newStep(row, 0, known.value, cue.value) !== undefined;
  const words = rowWords(row);
  return (
    <div class="desk-row" style={`height:${ROW_PX + (lines.count - 1) * LINE_PX}px`}>
      <div class="desk-head">
        <b>
          {breakable(words)}
          {members && <span class="hint"> group</span>}
          {most > 0 && <span class="hint number"> {most} flashes/s</span>}
        </b>
        {canAdd && (
          <button
            type="button"
            class="desk-add"
            aria-label={`Add a step to ${words} at ${tidy(cursorS.value, 2)} s`}
            title={`Add a step at ${tidy(cursorS.value, 2)} s`}
            onClick={() => addAt(row, cursorS.peek())}
          >
            +
          </button>
        )}
      </div>
      {/* biome-ignore lint/a11y/noStaticElementInteractions: the ruler and the button + do the same by keyboard */}
      {/* biome-ignore lint/a11y/useKeyWithClickEvents: as above */}
      <div
        class="desk-lane"
        style={bandOf(row, done, scale)}
        onClick={(event) => {
          if (event.target === event.currentTarget) putCursor(event);
        }}
        onDblClick={(event) => {
          if (event.target === event.currentTarget && canAdd) addAt(row, timeAt(event));
        }}
      >
        {done && <Curves row={row} done={done} scale={scale} />}
        {[...lines.of].map(([block, line]) => (
          <BlockButton key={`${block.step} ${block.part}`} block={block} line={line} />
        ))}
      </div>
    </div>
  );
}

/** A name that may go on in the next line after each `_`. */
function breakable(words: string) {
  const parts = words.split(/(?<=_)/);
  return parts.map((part, i) => [i > 0 && <wbr key={`${i} ${part}`} />, part]);
}

/** The colours of a light behind its steps. */
function bandOf(row: string, done: Rehearsed | undefined, scale: RowProps['scale']): string {
  const track = done?.channels.find(({ name }) => name === row);
  if (!track || !KIND_WORDS[channels.value[row]?.kind ?? 'servo'].lit) return '';
  return `background-image:${lightBand(track, scale.perS, scale.endS)};background-size:${scale.endS * scale.perS}px 100%`;
}

function Curves({ row, done, scale }: { row: string; done: Rehearsed; scale: RowProps['scale'] }) {
  const names = groups.value[row] ?? [row];
  const tracks = done.channels.filter(({ name }) => names.includes(name));
  const closures = done.closures.filter(({ channel }) => names.includes(channel));
  if (tracks.length + closures.length === 0) return null;
  const rest = closures.map(({ restUntilS, toS }) => restUntilS ?? toS ?? scale.endS);
  const width = Math.ceil(Math.max(scale.endS, ...rest) * scale.perS);
  return (
    <svg class="desk-curves" width={width} height={ROW_PX} aria-hidden="true">
      {tracks
        .filter(({ name }) => channels.value[name]?.limitsDeg !== undefined)
        .map((track) => (
          <ServoCurve
            key={track.name}
            track={track}
            limits={channels.value[track.name]?.limitsDeg ?? []}
            height={ROW_PX}
            {...scale}
          />
        ))}
      <Closures of={closures} height={ROW_PX} {...scale} />
    </svg>
  );
}

/** The gesture that is going on. */
let gestures = 0;

function BlockButton({ block, line }: { block: Block; line: number }) {
  const { step, part, words, row } = block;
  const time = times.value[step]!;
  const spec = steps.value[step]!;
  const length = blockS(spec, part, tookS.value[step]);
  const isSelected = selected.value === step;
  const chosen = steps.value[selected.value];
  const isBefore = chosen?.after !== undefined && chosen.after === spec.name && !isSelected;
  const isFirst = selected.value < 0 ? step === 0 : isSelected;
  const left = time.startS * perS.value;
  const width = length * perS.value;
  const where = row.startsWith('/') ? words : `${row} ${words}`;
  const before =
    spec.after === undefined ? -1 : steps.value.findIndex(({ name }) => name === spec.after);
  const label = [
    where,
    time.never ? 'never starts' : `at ${tidy(time.startS, 2)} s`,
    length > 0 ? `${tidy(length, 2)} s long` : 'at once',
    time.spreadS > 0 && `up to ${tidy(time.spreadS, 2)} s later`,
    before >= 0 && `after step ${before + 1}`,
    `step ${step + 1}`,
  ]
    .filter(Boolean)
    .join(', ');
  return (
    <>
      {time.spreadS > 0 && (
        <span
          class="desk-tail"
          style={`left:${left}px;width:${(length + time.spreadS) * perS.value}px;--line:${line}`}
          aria-hidden="true"
        />
      )}
      <button
        type="button"
        class={`desk-block is-${part || 'none'} ${isSelected ? 'is-selected' : ''} ${isBefore ? 'is-before' : ''} ${time.never ? 'is-never' : ''}`}
        style={`left:${left}px;--length:${width}px;--line:${line}`}
        data-step={step}
        data-part={part}
        data-row={row}
        tabIndex={isFirst ? 0 : -1}
        aria-label={label}
        aria-current={isSelected || undefined}
        onFocus={() => {
          selected.value = step;
        }}
        onClick={() => {
          selected.value = step;
        }}
        onPointerDown={(event) => startDrag(event, block, length)}
      >
        <span class="desk-number" data-number={step + 1} aria-hidden="true" />
        <span class="desk-words" aria-hidden="true">
          {words}
        </span>
        {lengthKey(part) && <span class="desk-grip" data-grip aria-hidden="true" />}
      </button>
    </>
  );
}

/** Moves a step with the pointer, or makes it longer by its end; with Ctrl, a copy of it is moved. */
function startDrag(
  event: TargetedPointerEvent<HTMLButtonElement>,
  { step, part }: Block,
  lengthWas: number,
): void {
  if (event.button !== 0) return;
  // A finger that scrolls past moves nothing: the first tap selects.
  if (event.pointerType !== 'mouse' && selected.peek() !== step) return;
  const button = event.currentTarget;
  const grip = (event.target as Element).closest('[data-grip]') !== null;
  const fromX = event.clientX;
  let before: Steps = steps.peek();
  let at = step;
  const startWas = times.peek()[step]!.startS;
  const gesture = `drag ${++gestures}`;
  let began = false;
  button.setPointerCapture(event.pointerId);
  const onMove = ({ clientX, shiftKey, ctrlKey }: PointerEvent) => {
    const dx = clientX - fromX;
    if (!began && Math.abs(dx) < DRAG_PX) return;
    if (!began && ctrlKey && !grip) {
      const added = addStep(before, copyAt(before[step]!, startWas));
      before = added.steps;
      at = added.at;
    }
    began = true;
    const grid = shiftKey ? FINE_S : gridS.peek();
    const byS = dx / perS.peek();
    const to = grip
      ? stretch(before, at, part, Math.max(LEAST_S, snapped(lengthWas + byS, grid)))
      : moveStep(before, at, snapped(Math.max(0, startWas + byS), grid) - startWas);
    edit(to, gesture);
    selected.value = at;
  };
  const onEnd = () => {
    button.removeEventListener('pointermove', onMove);
    button.removeEventListener('pointerup', onEnd);
    button.removeEventListener('pointercancel', onEnd);
  };
  button.addEventListener('pointermove', onMove);
  button.addEventListener('pointerup', onEnd);
  button.addEventListener('pointercancel', onEnd);
}

/** Moves a step by so much, as the arrow keys and the buttons of the form do. */
export function nudge(at: number, byS: number): void {
  const startS = times.peek()[at]?.startS ?? 0;
  const grid = Math.abs(byS);
  const to = Math.max(0, snapped(startS + byS, grid));
  edit(moveStep(steps.peek(), at, to - startS), `nudge ${at}`);
}

/** Makes a part longer by so much (s), or shorter. */
export function lengthen(at: number, part: string, byS: number): void {
  const spec = steps.peek()[at];
  if (!spec || lengthKey(part) === undefined) return;
  const now = blockS(spec, part, tookS.peek()[at]);
  edit(stretch(steps.peek(), at, part, snapped(now + byS, Math.abs(byS))), `length ${at} ${part}`);
}

/** Keys on a block. */
function onKeys(event: KeyboardEvent, all: readonly string[]): void {
  const block = (event.target as Element).closest<HTMLElement>('.desk-block');
  const isCommand = event.ctrlKey || event.metaKey;
  const key = event.key.toLowerCase();
  if (isCommand && key === 'z') {
    event.preventDefault();
    if (event.shiftKey) redo();
    else undo();
    return;
  }
  if (isCommand && key === 'y') {
    event.preventDefault();
    redo();
    return;
  }
  if (isCommand && key === 'v' && copied.peek()) {
    event.preventDefault();
    insert(copyAt(copied.peek()!, cursorS.peek()));
    return;
  }
  if (!block) return;
  const at = Number(block.dataset.step);
  const part = block.dataset.part ?? '';
  const by = event.shiftKey ? FINE_S : gridS.peek();
  const sign = event.key === 'ArrowRight' ? 1 : event.key === 'ArrowLeft' ? -1 : 0;
  if (sign !== 0) {
    event.preventDefault();
    if (event.ctrlKey || event.altKey) lengthen(at, part, sign * by);
    else nudge(at, sign * by);
  } else if (isCommand && key === 'c') {
    event.preventDefault();
    copied.value = steps.peek()[at];
  } else if (isCommand && key === 'd') {
    event.preventDefault();
    copyStep(at);
  } else if (event.key === 'Delete' || event.key === 'Backspace') {
    event.preventDefault();
    remove(at);
  } else rove(event, block, all);
}

/** Leads the focus from block to block: in its row in the order of time, and to the rows above and below. */
function rove(event: KeyboardEvent, block: HTMLElement, all: readonly string[]): void {
  const every = [
    ...(event.currentTarget as Element).querySelectorAll<HTMLElement>('.desk-block'),
  ].map((element) => ({
    element,
    row: all.indexOf(element.dataset.row ?? ''),
    startS: times.peek()[Number(element.dataset.step)]?.startS ?? 0,
  }));
  const here = every.find(({ element }) => element === block)!;
  const inRow = (row: number) =>
    every.filter((one) => one.row === row).sort((a, b) => a.startS - b.startS);
  const mine = inRow(here.row);
  const place = mine.indexOf(here);
  let to: (typeof every)[number] | undefined;
  if (event.key === 'PageDown') to = mine[place + 1];
  else if (event.key === 'PageUp') to = mine[place - 1];
  else if (event.key === 'Home') [to] = mine;
  else if (event.key === 'End') to = mine.at(-1);
  else if (event.key === 'ArrowDown' || event.key === 'ArrowUp') {
    const way = event.key === 'ArrowDown' ? 1 : -1;
    for (let row = here.row + way; row >= 0 && row < all.length && !to; row += way)
      to = inRow(row).sort(
        (a, b) => Math.abs(a.startS - here.startS) - Math.abs(b.startS - here.startS),
      )[0];
  } else return;
  event.preventDefault();
  to?.element.focus();
  to?.element.scrollIntoView({ block: 'nearest', inline: 'nearest' });
}

/** Rows that the cue has not got yet, to be added by a choice. */
export function AddRow() {
  const shown = rows.value;
  const { channels: all, groups: named, poses, takes } = known.value;
  const left = (list: readonly string[]) => list.filter((name) => !shown.includes(name));
  const others = [
    ...(poses.length > 0 ? [POSE_ROW] : []),
    ...(takes.length > 0 ? [TAKE_ROW] : []),
    FLOW_ROW,
  ];
  const parts: [string, readonly string[]][] = [
    ['Groups', left(Object.keys(named).filter((name) => newStep(name, 0, known.value)))],
    ['Channels', left(Object.keys(all))],
    ['Others', left(others)],
  ];
  return (
    <Select
      class="field"
      label="Add a row"
      value=""
      options={parts.map(([group, list]) => ({
        group,
        options: list.map((row) => [row, rowWords(row)]),
      }))}
      onPick={(row) => {
        moreRows.value = [...moreRows.peek(), row];
      }}
    />
  );
}
