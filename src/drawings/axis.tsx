import { clamp, tidy } from '../shared/units.ts';
import { columns, type TimeSeries } from '../sums/time-series.ts';
import { px } from './px.ts';

/** A time axis from 0 to `endS`, in a picture from `left` to `right` (px, whole). */
export interface Axis {
  left: number;
  right: number;
  endS: number;
}

/** The position of a time (px). */
export function xOf({ left, right, endS }: Axis, tS: number): number {
  return px(left + (clamp(tS, 0, endS) / endS) * (right - left));
}

/** Width of an axis label with the space around it (px), and the most labels. */
const LABEL = 56;
const MAX_LABELS = 12;

/** Times at round steps of 1, 2 or 5 times a power of ten (s), as many as there is room for. */
export function ticks({ left, right, endS }: Axis): number[] {
  const room = Math.max(1, Math.floor((right - left) / LABEL));
  const rough = endS / Math.min(MAX_LABELS, room);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= rough - 1e-12)!;
  return Array.from({ length: Math.floor(endS / step + 1e-9) + 1 }, (_, i) => tidy(i * step, 6));
}

/** The times along an axis. `y` is their baseline. */
export function AxisLabels({ axis, y }: { axis: Axis; y: number }) {
  return (
    <>
      {ticks(axis).map((tS) => (
        <text key={tS} x={xOf(axis, tS)} y={px(y)} text-anchor="middle" class="soft num">
          {tS === 0 ? '0 s' : tidy(tS)}
        </text>
      ))}
    </>
  );
}

/** A vertical line at every time of the axis. */
export function Grid({ axis, top, bottom }: { axis: Axis; top: number; bottom: number }) {
  return (
    <>
      {ticks(axis).map((tS) => (
        <UpDown key={tS} style="grid" x={xOf(axis, tS)} top={top} bottom={bottom} />
      ))}
    </>
  );
}

/** One vertical line. */
export function UpDown(props: { style: string; x: number; top: number; bottom: number }) {
  const { style, x, top, bottom } = props;
  return <line class={style} x1={x} y1={px(top)} x2={x} y2={px(bottom)} />;
}

/** A path through a time series in steps of half a pixel; one line where nothing changes. */
export function curve(axis: Axis, series: TimeSeries, yOf: (value: number) => number): string {
  const { left, right, endS } = axis;
  let drawn = yOf(series.value[0]!);
  let path = `M${left} ${drawn}`;
  let pending = '';
  columns(series, endS, 2 * (right - left)).forEach(({ far, last }, i) => {
    const x = left + (i + 1) / 2;
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
