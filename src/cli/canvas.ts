import type { RailTrack } from '../rehearsal/rehearse.ts';
import { clamp, tidy } from '../shared/units.ts';
import { type Course, columns } from '../sums/course.ts';
import { escaped, px } from './svg.ts';

/** What the pictures of rehearsals and budgets have in common: lanes above one time axis. */

export const WIDTH = 1200;
export const LEFT = 168;
export const RIGHT = 1096;
export const GAP = 10;
const RAIL_HEIGHT = 68;

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

/** A picture that grows from the top to the bottom. */
export class Canvas {
  /** What the time axis ends at (s). */
  endS: number;
  /** Where the next thing goes (px). */
  y = 0;
  /** What lies under the lanes, and on them. */
  readonly under: string[] = [];
  readonly out: string[] = [];

  constructor(endS: number) {
    this.endS = Math.max(endS, 0.001);
  }

  /** The whole picture, as an SVG document. */
  document(title: string, desc: string): string {
    const height = Math.ceil(this.y + 16);
    return [
      `<svg xmlns="http://www.w3.org/2000/svg" width="${WIDTH}" height="${height}" viewBox="0 0 ${WIDTH} ${height}" role="img" aria-labelledby="title desc">`,
      `<title id="title">${escaped(title)}</title>`,
      `<desc id="desc">${escaped(desc)}</desc>`,
      `<style>${STYLE}</style>`,
      `<rect class="paper" width="${WIDTH}" height="${height}"/>`,
      ...this.under,
      ...this.out,
      '</svg>',
    ].join('\n');
  }

  /** Where a time stands (px). */
  x(tS: number): number {
    return px(LEFT + (clamp(tS, 0, this.endS) / this.endS) * (RIGHT - LEFT));
  }

  /** Times along the axis. */
  axis(y: number): void {
    for (const tS of ticks(this.endS)) {
      const label = tS === 0 ? '0 s' : `${tidy(tS)}`;
      this.text(this.x(tS), y, label, 'soft num', 'middle');
    }
  }

  /** A rail's lane: its load, its limit, its peak, and what else is to be said of it. */
  rail(rail: RailTrack, title: string, more?: string): void {
    const { name, limitA, peakA, peakAtS } = rail;
    const y = this.y;
    const height = RAIL_HEIGHT;
    const top = Math.max(limitA, peakA) * 1.12;
    const yOf = (amps: number) => px(y + height - (amps / top) * (height - 4));
    this.under.push(rect(LEFT, y, RIGHT - LEFT, height, 'lane', 3));
    this.text(LEFT - 12, y + 26, name, 'name', 'end');
    this.text(LEFT - 12, y + 42, `peak ${tidy(peakA, 2)} A`, 'soft', 'end');
    this.text(LEFT - 12, y + 56, `at ${tidy(peakAtS, 2)} s`, 'soft', 'end');
    const line = this.curve({ tS: rail.tS, value: rail.amps }, yOf);
    const floor = y + height;
    this.out.push(
      `<path class="load" d="${line}V${floor}H${LEFT}Z"><title>${escaped(title)}</title></path>`,
    );
    this.line(LEFT, yOf(limitA), RIGHT, yOf(limitA), 'limit');
    this.text(RIGHT + 8, yOf(limitA) + 4, `limit ${tidy(limitA)} A`, 'red num');
    if (more !== undefined) this.text(RIGHT + 8, y + height - 6, more, 'soft num');
    this.out.push(`<circle class="peak" cx="${this.x(peakAtS)}" cy="${yOf(peakA)}" r="3.5"/>`);
    this.y += height + GAP;
  }

  /** A line through a course, half a pixel apart; straight on where nothing changes. */
  curve(course: Course, yOf: (value: number) => number): string {
    const count = 2 * (RIGHT - LEFT);
    let path = `M${LEFT} ${yOf(course.value[0]!)}`;
    let drawn = yOf(course.value[0]!);
    let pending = '';
    columns(course, this.endS, count).forEach(({ far, last }, i) => {
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

  /** Text from the left, broken where the picture ends. */
  paragraph(text: string, style: string): void {
    const most = Math.floor((WIDTH - 48) / 6.6);
    let line = '';
    const flush = (): void => {
      this.y += 17;
      this.text(24, this.y, line, style);
      line = '';
    };
    for (const word of text.split(' ')) {
      if (line && line.length + word.length + 1 > most) flush();
      line += line ? ` ${word}` : word;
    }
    flush();
  }

  text(x: number, y: number, text: string, style: string, anchor?: 'middle' | 'end'): void {
    const at = anchor ? ` text-anchor="${anchor}"` : '';
    const named = style ? ` class="${style}"` : '';
    this.out.push(`<text x="${x}" y="${y}"${at}${named}>${escaped(text)}</text>`);
  }

  line(x1: number, y1: number, x2: number, y2: number, style: string): void {
    this.under.push(`<line class="${style}" x1="${x1}" y1="${y1}" x2="${x2}" y2="${y2}"/>`);
  }

  rect(x: number, y: number, width: number, height: number, style: string, round: number): void {
    this.out.push(rect(x, y, width, height, style, round));
  }
}

export function rect(
  x: number,
  y: number,
  w: number,
  h: number,
  style: string,
  round: number,
): string {
  return `<rect class="${style}" x="${px(x)}" y="${px(y)}" width="${px(w)}" height="${px(h)}" rx="${round}"/>`;
}

/** Times at round steps of 1, 2 or 5 times a power of ten (s), a dozen at most. */
export function ticks(endS: number): number[] {
  const rough = endS / 12;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough - 1e-12)!;
  return Array.from({ length: Math.floor(endS / step + 1e-9) + 1 }, (_, i) => tidy(i * step, 6));
}
