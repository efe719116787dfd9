import type { Event, RailTrack, Rehearsal, Track } from '../core/rehearse.ts';
import { softLimits } from '../prop/mechanics.ts';
import { type CueStep, longCue, type Prop, type ServoChannel } from '../prop/schema.ts';
import { clamp, tidy } from '../shared/units.ts';
import { lightnessToLuminance, linearToSrgb } from '../sums/light.ts';
import { briefly, type Course, changes, closures, columns, courseOf, reader } from './course.ts';
import { railFigures } from './rehearse-text.ts';

/** The picture of a rehearsal: one lane for each channel that changes, above one time axis. */

const WIDTH = 1200;
const LEFT = 168;
const RIGHT = 1096;
const LANE = { servo: 56, relay: 26, lamp: 34, rgb: 34 } as const;
const RAIL_HEIGHT = 68;
const GAP = 10;
/** Of the smaller text, on average (px a character). */
const LETTER = 5.9;
const STEP_ROW = 18;
const MAX_STEP_ROWS = 8;
const MAX_TOLD = 12;

/** Light and dark; plain properties, for viewers that know no variables. */
const STYLE = `
text { font: 12px system-ui, sans-serif; fill: #22201c; }
.title { font-size: 20px; font-weight: 650; }
.name { font-weight: 600; }
.soft { font-size: 11px; fill: #5a554b; }
.num { font-variant-numeric: tabular-nums; }
.paper { fill: #f4f1ea; }
.lane { fill: #fffdf8; stroke: #ddd7ca; }
.grid { stroke: #ddd7ca; }
.mark { stroke: #8a857a; stroke-dasharray: 2 4; }
.step { fill: #0b6172; fill-opacity: 0.16; stroke: #0b6172; }
.start { stroke: #0b6172; stroke-opacity: 0.5; stroke-dasharray: 1 3; }
.curve { fill: none; stroke: #0b6172; stroke-width: 2; stroke-linejoin: round; }
.closed { fill: #0b6172; }
.on-closed { font-size: 11px; fill: #ffffff; }
.load { fill: #f2b259; fill-opacity: 0.45; stroke: #8a4b00; stroke-width: 1.2; }
.limit { stroke: #b3122a; stroke-width: 1.5; stroke-dasharray: 6 4; }
.red { font-size: 11px; fill: #b3122a; }
.peak { fill: #8a4b00; }
.event { fill: #b3122a; }
.event-line { stroke: #b3122a; stroke-opacity: 0.5; }
.on-event { font-size: 10px; font-weight: 700; fill: #ffffff; }
@media (prefers-color-scheme: dark) {
text { fill: #ece8df; }
.soft { fill: #b0b6ba; }
.paper { fill: #16191c; }
.lane { fill: #1f2428; stroke: #323a41; }
.grid { stroke: #323a41; }
.mark { stroke: #6b747c; }
.step { fill: #6fd0e0; stroke: #6fd0e0; }
.start { stroke: #6fd0e0; }
.curve { stroke: #6fd0e0; }
.closed { fill: #6fd0e0; }
.on-closed { fill: #0c2227; }
.load { fill: #f2b259; stroke: #f2b259; fill-opacity: 0.3; }
.limit { stroke: #ff8d97; }
.red { fill: #ff8d97; }
.peak { fill: #f2b259; }
.event { fill: #ff8d97; }
.event-line { stroke: #ff8d97; }
.on-event { fill: #16191c; }
}
`;

/** The whole picture, as an SVG document. */
export function timeline(rehearsal: Rehearsal, prop: Prop): string {
  return new Timeline(rehearsal, prop).draw();
}

class Timeline {
  readonly #rehearsal: Rehearsal;
  readonly #prop: Prop;
  readonly #endS: number;
  /** What lies under the lanes, and on them. */
  readonly #under: string[] = [];
  readonly #out: string[] = [];
  #y = 0;

  constructor(rehearsal: Rehearsal, prop: Prop) {
    this.#rehearsal = rehearsal;
    this.#prop = prop;
    this.#endS = Math.max(rehearsal.durationS, 0.001);
  }

  draw(): string {
    const { cue, durationS, cutShort, tracks, rails, events } = this.#rehearsal;
    const moving = tracks.filter(changes);
    const length = cutShort
      ? `goes on until stopped; its first ${tidy(durationS)} s`
      : `${tidy(durationS)} s`;
    this.#text(24, 36, `${this.#prop.name}: ${cue}`, 'title');
    this.#text(24, 56, length, 'soft');
    this.#y = 72;
    const starts = this.#steps();
    this.#eventMarks();
    const top = this.#y;
    this.#axis(this.#y + 12);
    this.#y += 20;
    for (const track of moving) this.#lane(track);
    for (const rail of rails) this.#rail(rail);
    const bottom = this.#y - GAP;
    this.#axis(this.#y + 6);
    this.#y += 18;
    this.#lines(starts, top + 20, bottom);
    const still = tracks.filter((track) => !changes(track)).map(({ name }) => name);
    if (still.length > 0) this.#paragraph(`As they were: ${still.join(', ')}`, 'soft');
    this.#told();
    const told = events.length === 0 ? 'nothing to say' : `${events.length} events`;
    const desc = `The cue's steps, ${moving.length} channels that change, and ${rails.length} rails, over ${length}; ${told}.`;
    const height = Math.ceil(this.#y + 16);
    return [
      `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" role="img" aria-labelledby="title desc">`,
      `<title id="title">${escaped(`${this.#prop.name}: cue ${cue}, rehearsed`)}</title>`,
      `<desc id="desc">${escaped(desc)}</desc>`,
      `<style>${STYLE}</style>`,
      `<rect class="paper" width="${WIDTH}" height="${height}"/>`,
      ...this.#under,
      ...this.#out,
      '</svg>',
    ].join('\n');
  }

  // --- time -----------------------------------------------------------------------------------------

  #x(tS: number): number {
    return px(LEFT + (clamp(tS, 0, this.#endS) / this.#endS) * (RIGHT - LEFT));
  }

  #axis(y: number): void {
    for (const tS of ticks(this.#endS)) {
      const label = tS === 0 ? '0 s' : `${tidy(tS)}`;
      this.#text(this.#x(tS), y, label, 'soft num', 'middle');
    }
  }

  /** Time grid and starts of steps, through all lanes. */
  #lines(starts: readonly number[], top: number, bottom: number): void {
    for (const tS of ticks(this.#endS)) this.#line(this.#x(tS), top, this.#x(tS), bottom, 'grid');
    for (const x of starts) this.#line(x, top, x, bottom, 'start');
    for (const { x } of this.#marked()) this.#line(x, top, x, bottom, 'event-line');
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
      const from = this.#x(startS);
      const to = Math.max(this.#x(endS ?? this.#endS), from + 3);
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
      for (const bar of row) this.#step(bar, this.#y + i * step, step - 4);
    });
    this.#text(LEFT - 12, this.#y + 11, named ? 'steps' : `${bars.length} steps`, 'soft', 'end');
    this.#y += rows.length * step + GAP;
    return named ? [...new Set(bars.map(({ from }) => from))] : [];
  }

  #step({ from, to, label }: StepBar, y: number, height: number): void {
    this.#rect(from, y, to - from, height, 'step', 2);
    if (label === '') return;
    const { side } = placed({ from, to, label });
    const x = side === 'before' ? from - 4 : side === 'inside' ? from + 4 : to + 4;
    this.#text(x, y + 11, label, 'soft', side === 'before' ? 'end' : undefined);
  }

  // --- lanes ----------------------------------------------------------------------------------------

  #lane(track: Track): void {
    const { name, kind } = track;
    const height = LANE[kind];
    const y = this.#y;
    this.#under.push(rect(LEFT, y, RIGHT - LEFT, height, 'lane', 3));
    const flashing = (track.flashes ?? 0) + (track.redFlashes ?? 0) > 0;
    const nameY = kind === 'servo' ? 22 : flashing ? 14 : height / 2 + 4;
    this.#text(LEFT - 12, y + nameY, name, 'name', 'end');
    if (kind === 'servo') this.#servo(track, y, height);
    else if (kind === 'relay') this.#relay(track, y, height);
    else this.#light(track, y, height);
    this.#y += height + GAP;
  }

  #servo(track: Track, y: number, height: number): void {
    const spec = this.#prop.channels[track.name] as ServoChannel;
    const course = courseOf(track);
    const [low, high] = softLimits(spec);
    const margin = 5;
    const yOf = (deg: number) =>
      px(y + height - margin - ((deg - low) / (high - low)) * (height - 2 * margin));
    this.#text(LEFT - 12, y + 38, `${tidy(low)} to ${tidy(high)} deg`, 'soft', 'end');
    const labels = Object.entries(spec.marks ?? {})
      .map(([mark, deg]) => ({ mark, deg, y: yOf(deg) }))
      .sort((a, b) => a.y - b.y);
    let lastY = Number.NEGATIVE_INFINITY;
    for (const label of labels) {
      this.#line(LEFT, label.y, RIGHT, label.y, 'mark');
      // One that would run into its neighbour is left out; its line remains.
      if (label.y - lastY < 11) continue;
      lastY = label.y;
      this.#text(RIGHT + 8, label.y + 4, `${label.mark} ${tidy(label.deg)}`, 'soft num');
    }
    this.#out.push(`<path class="curve" d="${this.#curve(course, yOf)}"/>`);
  }

  #relay(track: Track, y: number, height: number): void {
    const { tS, value } = track;
    tS.forEach((fromS, i) => {
      if (value[i] !== 1) return;
      const toS = tS[i + 1] ?? this.#endS;
      const from = this.#x(fromS);
      const width = Math.max(this.#x(toS) - from, 1.5);
      this.#rect(from, y + 5, width, height - 10, 'closed', 2);
      const label = `${tidy(toS - fromS, 2)} s`;
      if (width > label.length * LETTER + 10)
        this.#text(from + 6, y + height / 2 + 4, label, 'on-closed num');
    });
    const times = closures(track);
    const onS = `${tidy(track.onS ?? 0, 2)} s`;
    const all = times > 1 ? `${times} x, ${onS}` : onS;
    this.#text(RIGHT + 8, y + height / 2 + 4, all, 'soft num');
  }

  /** A band of the colours themselves, pixel by pixel. */
  #light(track: Track, y: number, height: number): void {
    const colourAt = reader(track.tS, track.value.map(shown));
    let from = LEFT;
    let colour = colourAt(0);
    const flush = (to: number): void => {
      this.#out.push(
        `<rect x="${from}" y="${y + 3}" width="${to - from}" height="${height - 6}" fill="${colour}" shape-rendering="crispEdges"/>`,
      );
      from = to;
    };
    for (let x = LEFT + 1; x < RIGHT; x++) {
      const now = colourAt(((x - LEFT) / (RIGHT - LEFT)) * this.#endS);
      if (now === colour) continue;
      flush(x);
      colour = now;
    }
    flush(RIGHT);
    const flashes = Math.max(track.flashes ?? 0, track.redFlashes ?? 0);
    const count = `${flashes} ${flashes === 1 ? 'flash' : 'flashes'} in a second`;
    if (flashes > 0) this.#text(LEFT - 12, y + 29, count, 'soft', 'end');
    const last = track.value.at(-1)!;
    const end = typeof last === 'number' ? `${tidy(last)}` : last;
    this.#text(RIGHT + 8, y + height / 2 + 4, end, 'soft num');
  }

  #rail(rail: RailTrack): void {
    const { name, limitA, peakA, peakAtS } = rail;
    const y = this.#y;
    const height = RAIL_HEIGHT;
    const top = Math.max(limitA, peakA) * 1.12;
    const yOf = (amps: number) => px(y + height - (amps / top) * (height - 4));
    this.#under.push(rect(LEFT, y, RIGHT - LEFT, height, 'lane', 3));
    this.#text(LEFT - 12, y + 26, name, 'name', 'end');
    this.#text(LEFT - 12, y + 42, `peak ${tidy(peakA, 2)} A`, 'soft', 'end');
    this.#text(LEFT - 12, y + 56, `at ${tidy(peakAtS, 2)} s`, 'soft', 'end');
    const line = this.#curve({ tS: rail.tS, value: rail.amps }, yOf);
    const floor = y + height;
    this.#out.push(
      `<path class="load" d="${line}V${floor}H${LEFT}Z"><title>${escaped(railFigures(rail))}</title></path>`,
    );
    this.#line(LEFT, yOf(limitA), RIGHT, yOf(limitA), 'limit');
    this.#text(RIGHT + 8, yOf(limitA) + 4, `limit ${tidy(limitA)} A`, 'red num');
    this.#out.push(`<circle class="peak" cx="${this.#x(peakAtS)}" cy="${yOf(peakA)}" r="3.5"/>`);
    this.#y += height + GAP;
  }

  /** A line through a course, half a pixel apart; straight on where nothing changes. */
  #curve(course: Course, yOf: (value: number) => number): string {
    const count = 2 * (RIGHT - LEFT);
    let path = `M${LEFT} ${yOf(course.value[0]!)}`;
    let drawn = yOf(course.value[0]!);
    let pending = '';
    columns(course, this.#endS, count).forEach(({ far, last }, i) => {
      const x = LEFT + (i + 1) / 2;
      for (const value of far === last ? [last] : [far, last]) {
        const y = yOf(value);
        if (y === drawn) {
          pending = `L${x} ${y}`;
          continue;
        }
        path += `${pending}L${x} ${y}`;
        pending = '';
        drawn = y;
      }
    });
    return path + pending;
  }

  // --- events ---------------------------------------------------------------------------------------

  /** Events that stand at the same place of the axis share a mark. */
  #marked(): { x: number; first: number; last: number }[] {
    const marks: { x: number; first: number; last: number }[] = [];
    this.#rehearsal.events.forEach(({ tS }, i) => {
      const x = this.#x(tS);
      const before = marks.at(-1);
      if (before && x - 26 < before.x + markLabel(before).width / 2) before.last = i + 1;
      else marks.push({ x, first: i + 1, last: i + 1 });
    });
    return marks;
  }

  #eventMarks(): void {
    const marks = this.#marked();
    if (marks.length === 0) return;
    this.#text(LEFT - 32, this.#y + 12, 'events', 'soft', 'end');
    for (const mark of marks) {
      const { x } = mark;
      const { label, width } = markLabel(mark);
      this.#rect(x - width / 2, this.#y, width, 16, 'event', 8);
      this.#text(x, this.#y + 12, label, 'on-event num', 'middle');
    }
    this.#y += 16 + GAP;
  }

  #told(): void {
    const { events } = this.#rehearsal;
    if (events.length === 0) return;
    this.#y += 8;
    this.#paragraph('Events', 'name');
    events.slice(0, MAX_TOLD).forEach((event, i) => {
      this.#paragraph(`${i + 1}.  ${tidy(event.tS)} s  ${where(event)}${briefly(event)}`, '');
    });
    if (events.length > MAX_TOLD) this.#paragraph(`and ${events.length - MAX_TOLD} more`, 'soft');
  }

  // --- shapes ---------------------------------------------------------------------------------------

  /** Text from the left, broken where the picture ends. */
  #paragraph(text: string, style: string): void {
    const most = Math.floor((WIDTH - 48) / 6.6);
    let line = '';
    const flush = (): void => {
      this.#y += 17;
      this.#text(24, this.#y, line, style);
      line = '';
    };
    for (const word of text.split(' ')) {
      if (line && line.length + word.length + 1 > most) flush();
      line += line ? ` ${word}` : word;
    }
    flush();
  }

  #text(x: number, y: number, text: string, style: string, anchor?: 'middle' | 'end'): void {
    const at = anchor ? ` text-anchor="${anchor}"` : '';
    const named = style ? ` class="${style}"` : '';
    this.#out.push(`<text x="${x}" y="${y}"${at}${named}>${escaped(text)}</text>`);
  }

  #line(x1: number, y1: number, x2: number, y2: number, style: string): void {
    this.#under.push(`<line class="${style}" x1="${x1}" y1="${y1}" x2="${x2}" y2="${y2}"/>`);
  }

  #rect(x: number, y: number, width: number, height: number, style: string, round: number): void {
    this.#out.push(rect(x, y, width, height, style, round));
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

function rect(x: number, y: number, w: number, h: number, style: string, round: number): string {
  return `<rect class="${style}" x="${px(x)}" y="${px(y)}" width="${px(w)}" height="${px(h)}" rx="${round}"/>`;
}

/** A tenth of a pixel is as fine as it needs to be. */
function px(value: number): number {
  return Math.round(value * 10) / 10;
}

/** Times at round steps of 1, 2 or 5 times a power of ten (s), a dozen at the most. */
export function ticks(endS: number): number[] {
  const rough = endS / 12;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough - 1e-12)!;
  return Array.from({ length: Math.floor(endS / step + 1e-9) + 1 }, (_, i) => tidy(i * step, 6));
}

/** `2 lids up`: its number, and its name or what it does. */
function stepLabel(step: CueStep, index: number): string {
  const { name, move, pose, colour, dim, switch: switched, until, cue, choose } = step;
  const touched = [move, colour, dim, switched].flatMap((part) => Object.keys(part ?? {}));
  const words = [
    ...(pose === undefined ? [] : [`pose ${pose}`]),
    ...touched,
    ...(until ? [`wait for ${until.channel}`] : []),
    ...(cue === undefined ? [] : [`cue ${cue}`]),
    ...(choose ? [`one of ${choose.join(', ')}`] : []),
  ];
  const text = name ?? words.join(', ');
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

const ENTITIES: Record<string, string> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };

function escaped(text: string): string {
  return text.replace(/[&<>"]/g, (letter) => ENTITIES[letter]!);
}
