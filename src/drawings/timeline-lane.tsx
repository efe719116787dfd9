import type { ValueType } from '../prop/kinds/kind.ts';
import type { Track } from '../rehearsal/rehearse.ts';
import { tidy } from '../shared/units.ts';
import { lightnessToLuminance, linearToSrgb } from '../sums/light.ts';
import { type Axis, curve, xOf } from './axis.tsx';
import { px } from './px.ts';
import { LETTER } from './timeline-steps.tsx';
import { closures, reader, timeSeriesOf } from './track.ts';

/** Height of a lane, by what is drawn in it (px). */
export const LANE_HEIGHT = { deg: 56, on: 26, lightness: 34, colour: 34, volume: 34 } as const;
/** Above and below a servo's curve (px). */
const MARGIN = 5;

/** The limits and marks of a servo (deg). */
export interface Angles {
  low: number;
  high: number;
  marks: Readonly<Record<string, number>>;
}

/** A channel: the part that its lane needs. */
export interface ChannelView {
  value: ValueType;
  /** For a servo. */
  angles?: Angles;
}

interface Placed {
  track: Track;
  channel: ChannelView;
  axis: Axis;
  y: number;
}

/** A channel during a cue: its name, its values over time, and notes on it. */
export function Lane(props: Placed) {
  const { track, channel, axis, y } = props;
  const { value, angles } = channel;
  const flashing = (track.flashes ?? 0) + (track.redFlashes ?? 0) > 0;
  const nameY = angles ? 22 : flashing ? 14 : LANE_HEIGHT[value] / 2 + 4;
  return (
    <g>
      <text x={axis.left - 12} y={px(y + nameY)} text-anchor="end" class="name">
        {track.name}
      </text>
      {angles ? (
        <AngleLane {...props} angles={angles} />
      ) : value === 'on' ? (
        <ContactLane {...props} />
      ) : value === 'volume' ? (
        <SoundLane {...props} />
      ) : (
        <LightLane {...props} />
      )}
    </g>
  );
}

function scale({ low, high }: Angles, y: number): (deg: number) => number {
  const room = LANE_HEIGHT.deg - 2 * MARGIN;
  return (deg) => px(y + MARGIN + room - ((deg - low) / (high - low)) * room);
}

/** The lines of a servo's marks, under its curve. */
export function MarkLines({ channel: { angles }, axis, y }: Omit<Placed, 'track'>) {
  if (!angles) return null;
  const yOf = scale(angles, y);
  return (
    <>
      {Object.entries(angles.marks).map(([mark, deg]) => (
        <line key={mark} class="mark" x1={axis.left} y1={yOf(deg)} x2={axis.right} y2={yOf(deg)} />
      ))}
    </>
  );
}

function AngleLane({ track, axis, y, angles }: Placed & { angles: Angles }) {
  const yOf = scale(angles, y);
  const marks = Object.entries(angles.marks)
    .map(([mark, deg]) => ({ mark, deg, y: yOf(deg) }))
    .sort((a, b) => a.y - b.y);
  let lastY = Number.NEGATIVE_INFINITY;
  // A label that would overlap its neighbour is left out; its line remains.
  const labelled = marks.filter((mark) => {
    const fits = mark.y - lastY >= 11;
    if (fits) lastY = mark.y;
    return fits;
  });
  return (
    <>
      <text x={axis.left - 12} y={px(y + 38)} text-anchor="end" class="soft">
        {tidy(angles.low)} to {tidy(angles.high)} deg
      </text>
      {labelled.map(({ mark, deg, y: markY }) => (
        <text key={mark} x={axis.right + 8} y={px(markY + 4)} class="soft num">
          {mark} {tidy(deg)}
        </text>
      ))}
      <path class="curve" d={curve(axis, timeSeriesOf(track), yOf)} />
    </>
  );
}

function ContactLane({ track, axis, y }: Placed) {
  const { tS, value, onS = 0 } = track;
  const height = LANE_HEIGHT.on;
  const times = closures(track);
  const all = `${tidy(onS, 2)} s`;
  const closed = tS.flatMap((fromS, i) =>
    value[i] === 1 ? [{ fromS, toS: tS[i + 1] ?? axis.endS }] : [],
  );
  return (
    <>
      {closed.map(({ fromS, toS }) => {
        const from = xOf(axis, fromS);
        const width = Math.max(xOf(axis, toS) - from, 1.5);
        const label = `${tidy(toS - fromS, 2)} s`;
        return (
          <g key={fromS}>
            <rect
              class="closed"
              x={from}
              y={px(y + 5)}
              width={px(width)}
              height={height - 10}
              rx={2}
            />
            {width > label.length * LETTER + 10 && (
              <text x={px(from + 6)} y={px(y + height / 2 + 4)} class="on-closed num">
                {label}
              </text>
            )}
          </g>
        );
      })}
      <text x={axis.right + 8} y={px(y + height / 2 + 4)} class="soft num">
        {times > 1 ? `${times} x, ${all}` : all}
      </text>
    </>
  );
}

/** The volume over time, 0 to 1 of the ceiling. */
function SoundLane({ track, axis, y }: Placed) {
  const height = LANE_HEIGHT.volume;
  const yOf = (volume: number) => px(y + height - 5 - volume * (height - 10));
  const heardS = track.tS.reduce(
    (sum, fromS, i) =>
      Number(track.value[i]) > 0 ? sum + (track.tS[i + 1] ?? axis.endS) - fromS : sum,
    0,
  );
  return (
    <>
      <path class="curve" d={curve(axis, timeSeriesOf(track), yOf)} />
      <text x={axis.right + 8} y={px(y + height / 2 + 4)} class="soft num">
        {tidy(heardS, 2)} s
      </text>
    </>
  );
}

/** A band in the light's own colours, pixel by pixel. */
function LightLane({ track, channel, axis, y }: Placed) {
  const height = LANE_HEIGHT[channel.value];
  const flashes = Math.max(track.flashes ?? 0, track.redFlashes ?? 0);
  const last = track.value.at(-1)!;
  return (
    <>
      {bands(track, axis).map(({ from, to, colour }) => (
        <rect
          key={from}
          x={from}
          y={px(y + 3)}
          width={to - from}
          height={height - 6}
          fill={colour}
          shape-rendering="crispEdges"
        />
      ))}
      {flashes > 0 && (
        <text x={axis.left - 12} y={px(y + 29)} text-anchor="end" class="soft">
          {flashes} {flashes === 1 ? 'flash' : 'flashes'} in a second
        </text>
      )}
      <text x={axis.right + 8} y={px(y + height / 2 + 4)} class="soft num">
        {typeof last === 'number' ? tidy(last) : last}
      </text>
    </>
  );
}

function bands(track: Track, { left, right, endS }: Axis) {
  const colourAt = reader(track.tS, track.value.map(shown));
  const found = [{ from: left, to: right, colour: colourAt(0) }];
  for (let x = left + 1; x < right; x++) {
    const colour = colourAt(((x - left) / (right - left)) * endS);
    const before = found.at(-1)!;
    if (colour === before.colour) continue;
    before.to = x;
    found.push({ from: x, to: right, colour });
  }
  return found;
}

/** The colour of a light; a lamp is drawn as a warm white of its lightness. */
function shown(value: number | string): string {
  if (typeof value === 'string') return value;
  const luminance = lightnessToLuminance(value);
  const parts = [1, 0.78, 0.5].map((share) => Math.round(255 * linearToSrgb(luminance * share)));
  return `rgb(${parts.join(' ')})`;
}
