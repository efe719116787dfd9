import type { Axis } from './axis.tsx';
import { WIDTH } from './picture.tsx';
import { px } from './px.ts';

/** What the pictures of rehearsals and budgets share: lanes above one time axis. */

export const LEFT = 168;
export const RIGHT = 1096;
/** Between two lanes (px). */
export const GAP = 10;
const LINE = 17;

/** Light and dark colours, as plain properties for viewers that do not support variables. */
export const CHART_STYLE = `
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
.limit-text { font-size: 11px; fill: #b3122a; }
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
.limit-text { fill: #ff8d97; }
.peak { fill: #f2b259; }
.event { fill: #ff8d97; }
.event-line { stroke: #ff8d97; }
.on-event { fill: #16191c; }
}
`;

/** The background of a lane. */
export function LaneGround({ axis, y, height }: { axis: Axis; y: number; height: number }) {
  const width = axis.right - axis.left;
  return <rect class="lane" x={axis.left} y={px(y)} width={width} height={px(height)} rx={3} />;
}

/** Breaks a text into lines that fit the picture. */
export function brokenUp(text: string): string[] {
  const most = Math.floor((WIDTH - 48) / 6.6);
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line && line.length + word.length + 1 > most) {
      lines.push(line);
      line = '';
    }
    line += line ? ` ${word}` : word;
  }
  return [...lines, line];
}

/** Height of lines (px). */
export function linesHeight(lines: readonly string[]): number {
  return lines.length * LINE;
}

/** Lines of text at the left of a picture. `y` is their top. */
export function Lines({ lines, y, style }: { lines: readonly string[]; y: number; style: string }) {
  return (
    <>
      {lines.map((line, i) => (
        <text key={line} x={24} y={px(y + (i + 1) * LINE)} class={style || undefined}>
          {line}
        </text>
      ))}
    </>
  );
}
