import { kindOf, servoOf } from '../prop/kinds/kind.ts';
import { softLimits } from '../prop/mechanics.ts';
import { longCue, type Prop } from '../prop/schema.ts';
import { type CueStep, stepWords } from '../prop/steps.ts';
import type { Event, Rehearsal, Track } from '../rehearsal/rehearse.ts';
import { tidy } from '../shared/units.ts';
import { lightnessToLuminance, linearToSrgb } from '../sums/light.ts';
import { Canvas, GAP, LEFT, RIGHT, rect, ticks, WIDTH } from './canvas.ts';
import { briefly, changes, closures, courseOf, reader } from './course.ts';
import { railFigures } from './rehearse-text.ts';
import { px } from './svg.ts';

/** The picture of a rehearsal: one lane for each channel that changes, above one time axis. */

/** Height of a lane, by what is drawn in it (px). */
const LANE = { deg: 56, on: 26, lightness: 34, colour: 34 } as const;
/** Of the smaller text, on average (px a character). */
const LETTER = 5.9;
const STEP_ROW = 18;
const MAX_STEP_ROWS = 8;
const MAX_TOLD = 12;

/** The whole picture, as an SVG document. */
export function timeline(rehearsal: Rehearsal, prop: Prop): string {
  return new Timeline(rehearsal, prop).draw();
}

class Timeline extends Canvas {
  readonly #rehearsal: Rehearsal;
  readonly #prop: Prop;

  constructor(rehearsal: Rehearsal, prop: Prop) {
    super(rehearsal.durationS);
    this.#rehearsal = rehearsal;
    this.#prop = prop;
  }

  draw(): string {
    const { cue, durationS, cutShort, tracks, rails, events } = this.#rehearsal;
    const moving = tracks.filter(changes);
    const length = cutShort
      ? `goes on until stopped; its first ${tidy(durationS)} s`
      : `${tidy(durationS)} s`;
    this.text(24, 36, `${this.#prop.name}: ${cue}`, 'title');
    this.text(24, 56, length, 'soft');
    this.y = 72;
    const starts = this.#steps();
    this.#eventMarks();
    const top = this.y;
    this.axis(this.y + 12);
    this.y += 20;
    for (const track of moving) this.#lane(track);
    for (const rail of rails) this.rail(rail, railFigures(rail));
    const bottom = this.y - GAP;
    this.axis(this.y + 6);
    this.y += 18;
    this.#lines(starts, top + 20, bottom);
    const still = tracks.filter((track) => !changes(track)).map(({ name }) => name);
    if (still.length > 0) this.paragraph(`As they were: ${still.join(', ')}`, 'soft');
    this.#told();
    const told = events.length === 0 ? 'nothing to say' : `${events.length} events`;
    const desc = `The cue's steps, ${moving.length} channels that change, and ${rails.length} rails, over ${length}; ${told}.`;
    return this.document(`${this.#prop.name}: cue ${cue}, rehearsed`, desc);
  }

  // --- time -----------------------------------------------------------------------------------------

  /** Time grid and starts of steps, through all lanes. */
  #lines(starts: readonly number[], top: number, bottom: number): void {
    for (const tS of ticks(this.endS)) this.line(this.x(tS), top, this.x(tS), bottom, 'grid');
    for (const x of starts) this.line(x, top, x, bottom, 'start');
    for (const { x } of this.#marked()) this.line(x, top, x, bottom, 'event-line');
  }

  /**
   * The steps as bars with their names, in as few rows as they fit; without the names where they are
   * too many. Returns where they start, if that is worth a line.
   */
  #steps(): number[] {
    const { cue, steps } = this.#rehearsal;
    const specs = longCue(this.#prop.cues[cue]!).steps;
    const bars = steps.flatMap(({ startS, endS }, i): StepBar[] => {
      if (startS === null) return [];
      const from = this.x(startS);
      const to = Math.max(this.x(endS ?? this.endS), from + 3);
      return [{ from, to, label: stepLabel(specs[i]!, i) }];
    });
    bars.sort((a, b) => a.from - b.from);
    const named = rowsOf(bars);
    const rows =
      named ??
      rowsOf(
        bars.map((bar) => ({ ...bar, label: '' })),
        Infinity,
      )!;
    const step = named ? STEP_ROW : Math.min(STEP_ROW, (MAX_STEP_ROWS * STEP_ROW) / rows.length);
    rows.forEach((row, i) => {
      for (const bar of row) this.#step(bar, this.y + i * step, step - 4);
    });
    this.text(LEFT - 12, this.y + 11, named ? 'steps' : `${bars.length} steps`, 'soft', 'end');
    this.y += rows.length * step + GAP;
    return named ? [...new Set(bars.map(({ from }) => from))] : [];
  }

  #step({ from, to, label }: StepBar, y: number, height: number): void {
    this.rect(from, y, to - from, height, 'step', 2);
    if (label === '') return;
    const { side } = placed({ from, to, label });
    const x = side === 'before' ? from - 4 : side === 'inside' ? from + 4 : to + 4;
    this.text(x, y + 11, label, 'soft', side === 'before' ? 'end' : undefined);
  }

  // --- lanes ----------------------------------------------------------------------------------------

  #lane(track: Track): void {
    const { name } = track;
    const type = kindOf(track).value;
    const height = LANE[type];
    const y = this.y;
    this.under.push(rect(LEFT, y, RIGHT - LEFT, height, 'lane', 3));
    const flashing = (track.flashes ?? 0) + (track.redFlashes ?? 0) > 0;
    const nameY = type === 'deg' ? 22 : flashing ? 14 : height / 2 + 4;
    this.text(LEFT - 12, y + nameY, name, 'name', 'end');
    if (type === 'deg') this.#angle(track, y, height);
    else if (type === 'on') this.#contact(track, y, height);
    else this.#light(track, y, height);
    this.y += height + GAP;
  }

  #angle(track: Track, y: number, height: number): void {
    const spec = servoOf(this.#prop.channels[track.name])!;
    const course = courseOf(track);
    const [low, high] = softLimits(spec);
    const margin = 5;
    const yOf = (deg: number) =>
      px(y + height - margin - ((deg - low) / (high - low)) * (height - 2 * margin));
    this.text(LEFT - 12, y + 38, `${tidy(low)} to ${tidy(high)} deg`, 'soft', 'end');
    const labels = Object.entries(spec.marks ?? {})
      .map(([mark, deg]) => ({ mark, deg, y: yOf(deg) }))
      .sort((a, b) => a.y - b.y);
    let lastY = Number.NEGATIVE_INFINITY;
    for (const label of labels) {
      this.line(LEFT, label.y, RIGHT, label.y, 'mark');
      // One that would run into its neighbour is left out; its line remains.
      if (label.y - lastY < 11) continue;
      lastY = label.y;
      this.text(RIGHT + 8, label.y + 4, `${label.mark} ${tidy(label.deg)}`, 'soft num');
    }
    this.out.push(`<path class="curve" d="${this.curve(course, yOf)}"/>`);
  }

  #contact(track: Track, y: number, height: number): void {
    const { tS, value } = track;
    tS.forEach((fromS, i) => {
      if (value[i] !== 1) return;
      const toS = tS[i + 1] ?? this.endS;
      const from = this.x(fromS);
      const width = Math.max(this.x(toS) - from, 1.5);
      this.rect(from, y + 5, width, height - 10, 'closed', 2);
      const label = `${tidy(toS - fromS, 2)} s`;
      if (width > label.length * LETTER + 10)
        this.text(from + 6, y + height / 2 + 4, label, 'on-closed num');
    });
    const times = closures(track);
    const onS = `${tidy(track.onS ?? 0, 2)} s`;
    const all = times > 1 ? `${times} x, ${onS}` : onS;
    this.text(RIGHT + 8, y + height / 2 + 4, all, 'soft num');
  }

  /** A band of the colours themselves, pixel by pixel. */
  #light(track: Track, y: number, height: number): void {
    const colourAt = reader(track.tS, track.value.map(shown));
    let from = LEFT;
    let colour = colourAt(0);
    const flush = (to: number): void => {
      this.out.push(
        `<rect x="${from}" y="${y + 3}" width="${to - from}" height="${height - 6}" fill="${colour}" shape-rendering="crispEdges"/>`,
      );
      from = to;
    };
    for (let x = LEFT + 1; x < RIGHT; x++) {
      const now = colourAt(((x - LEFT) / (RIGHT - LEFT)) * this.endS);
      if (now === colour) continue;
      flush(x);
      colour = now;
    }
    flush(RIGHT);
    const flashes = Math.max(track.flashes ?? 0, track.redFlashes ?? 0);
    const count = `${flashes} ${flashes === 1 ? 'flash' : 'flashes'} in a second`;
    if (flashes > 0) this.text(LEFT - 12, y + 29, count, 'soft', 'end');
    const last = track.value.at(-1)!;
    const end = typeof last === 'number' ? `${tidy(last)}` : last;
    this.text(RIGHT + 8, y + height / 2 + 4, end, 'soft num');
  }

  // --- events ---------------------------------------------------------------------------------------

  /** Events that stand at the same place of the axis share a mark. */
  #marked(): { x: number; first: number; last: number }[] {
    const marks: { x: number; first: number; last: number }[] = [];
    this.#rehearsal.events.forEach(({ tS }, i) => {
      const x = this.x(tS);
      const before = marks.at(-1);
      if (before && x - 26 < before.x + markLabel(before).width / 2) before.last = i + 1;
      else marks.push({ x, first: i + 1, last: i + 1 });
    });
    return marks;
  }

  #eventMarks(): void {
    const marks = this.#marked();
    if (marks.length === 0) return;
    this.text(LEFT - 32, this.y + 12, 'events', 'soft', 'end');
    for (const mark of marks) {
      const { x } = mark;
      const { label, width } = markLabel(mark);
      this.rect(x - width / 2, this.y, width, 16, 'event', 8);
      this.text(x, this.y + 12, label, 'on-event num', 'middle');
    }
    this.y += 16 + GAP;
  }

  #told(): void {
    const { events } = this.#rehearsal;
    if (events.length === 0) return;
    this.y += 8;
    this.paragraph('Events', 'name');
    events.slice(0, MAX_TOLD).forEach((event, i) => {
      this.paragraph(`${i + 1}.  ${tidy(event.tS)} s  ${where(event)}${briefly(event)}`, '');
    });
    if (events.length > MAX_TOLD) this.paragraph(`and ${events.length - MAX_TOLD} more`, 'soft');
  }
}

interface StepBar {
  from: number;
  to: number;
  label: string;
}

/** Where the label of a bar stands, and what the two take up together. */
function placed({ from, to, label }: StepBar): {
  side: 'inside' | 'before' | 'after';
  left: number;
  right: number;
} {
  const width = label === '' ? 0 : label.length * LETTER + 8;
  if (width <= to - from) return { side: 'inside', left: from, right: to };
  if (to + width > WIDTH) return { side: 'before', left: from - width, right: to };
  return { side: 'after', left: from, right: to + width };
}

/** Bars in rows in which they do not touch; undefined when there are more rows than `most`. */
function rowsOf(bars: readonly StepBar[], most = MAX_STEP_ROWS): StepBar[][] | undefined {
  const rows: { bars: StepBar[]; right: number }[] = [];
  for (const bar of bars) {
    const { left, right } = placed(bar);
    let row = rows.find((one) => one.right + 6 <= left);
    if (!row) {
      row = { bars: [], right };
      rows.push(row);
    }
    row.bars.push(bar);
    row.right = right;
    if (rows.length > most) return undefined;
  }
  return rows.map((row) => row.bars);
}

/** Width of an event's mark, and what is written on it. */
function markLabel({ first, last }: { first: number; last: number }) {
  const label = first === last ? `${first}` : `${first}-${last}`;
  return { label, width: Math.max(16, label.length * 6 + 10) };
}

/** `2 lids up`: its number, and its name or what it does. */
function stepLabel(step: CueStep, index: number): string {
  const text = step.name ?? stepWords(step);
  return `${index + 1} ${text.length > 30 ? `${text.slice(0, 29)}…` : text}`;
}

/** What a light looks like: a lamp is drawn as a warm white of its lightness. */
function shown(value: number | string): string {
  if (typeof value === 'string') return value;
  const luminance = lightnessToLuminance(value);
  const parts = [1, 0.78, 0.5].map((share) => Math.round(255 * linearToSrgb(luminance * share)));
  return `rgb(${parts.join(' ')})`;
}

function where({ cue, step }: Event): string {
  return cue === undefined || step === undefined ? '' : `${cue}, step ${step + 1}: `;
}
