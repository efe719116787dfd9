import { tidy } from '../shared/units.ts';
import { type Axis, curve, xOf } from './axis.tsx';
import { LaneGround } from './chart.tsx';
import { px } from './px.ts';
import { limitText, railFigures } from './words.ts';

/** A rail during a cue: its load, its limit and its peak. */
export interface Rail {
  name: string;
  limitA: number;
  peakA: number;
  peakAtS: number;
  /** Times (s), and the load from each until the next (A). */
  tS: readonly number[];
  amps: readonly number[];
}

interface Placed {
  rail: Rail;
  axis: Axis;
  y: number;
  height: number;
}

function scale({ rail: { limitA, peakA }, y, height }: Placed): (amps: number) => number {
  const top = Math.max(limitA, peakA) * 1.12;
  return (amps) => px(y + height - (amps / top) * (height - 4));
}

/** What is drawn below the load: the lane and the limit. */
export function RailGround(props: Placed) {
  const { rail, axis, y, height } = props;
  const limitY = scale(props)(rail.limitA);
  return (
    <>
      <LaneGround axis={axis} y={y} height={height} />
      <line class="limit" x1={axis.left} y1={limitY} x2={axis.right} y2={limitY} />
    </>
  );
}

/** The load over time, its peak, and the value of the limit: beside the lane, or under its line. */
export function RailLoad(props: Placed & { limit: 'beside' | 'inside' }) {
  const { rail, axis, y, height, limit } = props;
  const yOf = scale(props);
  const line = curve(axis, { tS: rail.tS, value: rail.amps }, yOf);
  const inside = limit === 'inside';
  return (
    <>
      <path class="load" d={`${line}V${px(y + height)}H${axis.left}Z`}>
        <title>{railFigures(rail)}</title>
      </path>
      <text
        x={inside ? axis.right - 6 : axis.right + 8}
        y={px(yOf(rail.limitA) + (inside ? 14 : 4))}
        text-anchor={inside ? 'end' : undefined}
        class="limit-text num"
      >
        {limitText(rail)}
      </text>
      <circle class="peak" cx={xOf(axis, rail.peakAtS)} cy={yOf(rail.peakA)} r={3.5} />
    </>
  );
}

/** Beside the lane: the rail's name and its peak. */
export function RailName({ rail, axis, y }: Omit<Placed, 'height'>) {
  const { name, peakA, peakAtS } = rail;
  const x = axis.left - 12;
  return (
    <>
      <text x={x} y={px(y + 26)} text-anchor="end" class="name">
        {name}
      </text>
      <text x={x} y={px(y + 42)} text-anchor="end" class="soft">
        peak {tidy(peakA, 2)} A
      </text>
      <text x={x} y={px(y + 56)} text-anchor="end" class="soft">
        at {tidy(peakAtS, 2)} s
      </text>
    </>
  );
}
