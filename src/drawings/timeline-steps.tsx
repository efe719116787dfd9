import { type Axis, xOf } from './axis.tsx';
import { GAP } from './chart.tsx';
import { WIDTH } from './picture.tsx';
import { px } from './px.ts';

/** Average width of a character of the smaller text (px). */
export const LETTER = 5.9;
const ROW = 18;
const MAX_ROWS = 8;

/** A step of a cue: its start, end and name. */
export interface StepView {
  startS: number | null;
  endS: number | null;
  label: string;
}

interface Bar {
  from: number;
  to: number;
  label: string;
}

/** The steps in rows, before they are drawn. */
interface StepRows {
  bars: readonly { bar: Bar; y: number; height: number }[];
  /** The text to the left of them. */
  title: string;
  height: number;
  /** Where they start (px), if vertical lines are to show it. */
  starts: readonly number[];
}

/** The steps as bars with their names, in as few rows as possible; without names if there are too many. */
export function stepRows(steps: readonly StepView[], axis: Axis): StepRows {
  const bars = steps.flatMap(({ startS, endS, label }): Bar[] => {
    if (startS === null) return [];
    const from = xOf(axis, startS);
    return [{ from, to: Math.max(xOf(axis, endS ?? axis.endS), from + 3), label }];
  });
  bars.sort((a, b) => a.from - b.from);
  const named = rowsOf(bars, MAX_ROWS);
  const bare = bars.map((bar) => ({ ...bar, label: '' }));
  const rows = named ?? rowsOf(bare, Number.POSITIVE_INFINITY)!;
  const step = named ? ROW : Math.min(ROW, (MAX_ROWS * ROW) / rows.length);
  return {
    bars: rows.flatMap((row, i) => row.map((bar) => ({ bar, y: i * step, height: step - 4 }))),
    title: named ? 'steps' : `${bars.length} steps`,
    height: rows.length * step + GAP,
    starts: named ? [...new Set(bars.map(({ from }) => from))] : [],
  };
}

/** The steps above the lanes. */
export function Steps({ rows, axis, y }: { rows: StepRows; axis: Axis; y: number }) {
  return (
    <g>
      {rows.bars.map((placed) => (
        <StepBar
          key={`${placed.bar.label} ${placed.bar.from} ${placed.y}`}
          {...placed}
          y={y + placed.y}
        />
      ))}
      <text x={axis.left - 12} y={px(y + 11)} text-anchor="end" class="soft">
        {rows.title}
      </text>
    </g>
  );
}

function StepBar({ bar, y, height }: { bar: Bar; y: number; height: number }) {
  const { from, to, label } = bar;
  const { side } = placed(bar);
  const x = side === 'before' ? from - 4 : side === 'inside' ? from + 4 : to + 4;
  return (
    <>
      <rect class="step" x={from} y={px(y)} width={px(to - from)} height={px(height)} rx={2} />
      {label !== '' && (
        <text
          x={px(x)}
          y={px(y + 11)}
          text-anchor={side === 'before' ? 'end' : undefined}
          class="soft"
        >
          {label}
        </text>
      )}
    </>
  );
}

/** The position of a bar's label, and the space that both take together. */
function placed({ from, to, label }: Bar): {
  side: 'inside' | 'before' | 'after';
  left: number;
  right: number;
} {
  const width = label === '' ? 0 : label.length * LETTER + 8;
  if (width <= to - from) return { side: 'inside', left: from, right: to };
  if (to + width > WIDTH) return { side: 'before', left: from - width, right: to };
  return { side: 'after', left: from, right: to + width };
}

/** Bars in rows in which they do not touch; undefined if that takes more than `most` rows. */
function rowsOf(bars: readonly Bar[], most: number): Bar[][] | undefined {
  const rows: { bars: Bar[]; right: number }[] = [];
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
