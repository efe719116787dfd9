import { px } from '../../drawings/px.ts';
import type { Rehearsed } from './cues-data.ts';

/** What the rehearsal of a cue says of each row, drawn behind its steps. */

type Track = Rehearsed['channels'][number];
type Rail = Rehearsed['rails'][number];
type Closure = Rehearsed['closures'][number];

interface Scale {
  /** Height of the row (px). */
  height: number;
  /** px for each second. */
  perS: number;
  /** The end of the rehearsal (s): there, a last value ends. */
  endS: number;
}

const MARGIN = 5;

/** The curve of a servo, between its limits. */
export function ServoCurve(props: { track: Track; limits: readonly number[] } & Scale) {
  const { track, height, perS, endS } = props;
  const values = track.value.map(Number);
  const low = Math.min(props.limits[0] ?? 0, ...values);
  const high = Math.max(props.limits[1] ?? 1, ...values);
  const yOf = (deg: number) =>
    px(height - MARGIN - ((deg - low) / (high - low || 1)) * (height - 2 * MARGIN));
  return <path class="desk-curve" d={line(track.tS, values, perS, yOf, endS)} />;
}

function line(
  tS: readonly number[],
  values: readonly number[],
  perS: number,
  yOf: (value: number) => number,
  endS: number,
): string {
  const points = tS.map((at, i) => `${px(at * perS)} ${yOf(values[i]!)}`);
  return `M${points.join('L')}H${px(endS * perS)}`;
}

/** When a relay is closed, and how long its duty guard lets it rest then. */
export function Closures(props: { of: readonly Closure[] } & Scale) {
  const { of, height, perS, endS } = props;
  return (
    <>
      {of.map(({ fromS, toS, restUntilS }) => {
        const end = toS ?? endS;
        return (
          <g key={fromS}>
            <rect
              class="desk-closed"
              x={px(fromS * perS)}
              y={MARGIN}
              width={px(Math.max(1.5, (end - fromS) * perS))}
              height={height - 2 * MARGIN}
            />
            {restUntilS !== null && (
              <rect
                class="desk-rest"
                x={px(end * perS)}
                y={height / 2 - 3}
                width={px(Math.max(0, restUntilS - end) * perS)}
                height={6}
              />
            )}
          </g>
        );
      })}
    </>
  );
}

/** Colours of a light, as a band. @returns CSS */
export function lightBand(track: Track, perS: number, endS: number): string {
  const colour = (value: number | string) =>
    typeof value === 'string'
      ? value
      : `color-mix(in oklch, #ffdf9e ${Math.round(value * 100)}%, #16191c)`;
  const stops = track.tS.map((at, i) => `${colour(track.value[i]!)} ${px(at * perS)}px`);
  const last = `${colour(track.value.at(-1)!)} ${px(endS * perS)}px`;
  return `linear-gradient(to right, ${[...stops, last].join(', ')})`;
}

/** The load of a rail against its limit. */
export function RailCurve({ rail, ...scale }: { rail: Rail } & Scale) {
  const { height, perS, endS } = scale;
  const top = Math.max(rail.limitA, rail.peakA) * 1.12 || 1;
  const yOf = (amps: number) => px(height - 1 - (amps / top) * (height - 4));
  const limitY = yOf(rail.limitA);
  return (
    <>
      <path class="desk-load" d={`${line(rail.tS, rail.amps, perS, yOf, endS)}V${height}H0Z`} />
      <line class="desk-limit" x1={0} y1={limitY} x2={px(endS * perS)} y2={limitY} />
    </>
  );
}
