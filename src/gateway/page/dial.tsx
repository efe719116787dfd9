import { useComputed } from '@preact/signals';
import type { ChannelInfo } from '../../api/types.ts';
import { degText, envelopeDeg } from './bench-moves.ts';
import { isUnknown } from './standing.ts';
import { stateOf } from './store.ts';

/** Radii in units of the picture, which is drawn about the servo's shaft. */
const R = { envelope: 100, limits: 88, needle: 84, target: 114, near: 122, far: 136 } as const;
/** Wider angles than this cannot be told apart on a circle, and are drawn smaller. */
const WIDEST_DEG = 320;
/** Marks closer than this are labelled at different radii. */
const CROWDED_DEG = 16;
const LABEL_LETTERS = 9;

/** Angle (deg) on the dial, clockwise from straight up, to a point. */
function at(deg: number, radius: number): [x: number, y: number] {
  const rad = (deg * Math.PI) / 180;
  return [radius * Math.sin(rad), -radius * Math.cos(rad)];
}

function arc(fromDeg: number, toDeg: number, radius: number): string {
  const [x0, y0] = at(fromDeg, radius);
  const [x1, y1] = at(toDeg, radius);
  const isLarge = toDeg - fromDeg > 180 ? 1 : 0;
  return `M${x0} ${y0}A${radius} ${radius} 0 ${isLarge} 1 ${x1} ${y1}`;
}

/** The box (x, y, width, height) around everything that is drawn from `-half` to `half` deg. */
function boxOf(halfDeg: number, hasMarks: boolean): string {
  const outer = hasMarks ? R.far : R.target;
  const x = outer * at(Math.min(halfDeg, 90), 1)[0] + (hasMarks ? 14 : 6);
  const bottom = Math.max(outer * at(halfDeg, 1)[1], 8) + 8;
  const top = -outer - 8;
  return `${-x} ${top} ${2 * x} ${bottom - top}`;
}

/**
 * The servo's arc in true angle, the middle of its pulse envelope up, angles rising clockwise. The
 * numbers stand beside it as text: the picture's own text names only what does not move.
 */
export function Dial({ channel, info }: { channel: string; info: ChannelInfo }) {
  const [envLow, envHigh] = envelopeDeg(info);
  const [low, high] = info.limitsDeg!;
  const middle = (envLow + envHigh) / 2;
  const scale = Math.min(1, WIDEST_DEG / (envHigh - envLow));
  const onDial = (deg: number) => (deg - middle) * scale;
  const marks = Object.entries(info.marks ?? {}).sort(([, a], [, b]) => a - b);
  const half = ((envHigh - envLow) / 2) * scale;
  const spoken =
    `Dial of ${channel}: pulse envelope ${degText(envLow)} to ${degText(envHigh)}, ` +
    `soft limits ${degText(low)} to ${degText(high)}, ` +
    (marks.length > 0
      ? `marks ${marks.map(([mark, deg]) => `${mark} at ${degText(deg)}`).join(', ')}. `
      : 'no marks. ') +
    'The numbers beside it say where it stands.';
  let isFar = false;
  return (
    <svg class="dial" viewBox={boxOf(half, marks.length > 0)} role="img" aria-label={spoken}>
      <path class="dial-envelope" d={arc(-half, half, R.envelope)} />
      <path class="dial-limits" d={arc(onDial(low), onDial(high), R.limits)} />
      {[low, high].map((deg, i) => (
        <Tick
          key={i === 0 ? 'low' : 'high'}
          deg={onDial(deg)}
          class="dial-limit"
          from={78}
          to={100}
        />
      ))}
      {envLow < 0 && envHigh > 0 && <Tick deg={onDial(0)} class="dial-zero" from={100} to={106} />}
      {marks.map(([mark, deg], i) => {
        const before = marks[i - 1]?.[1];
        isFar = before !== undefined && (deg - before) * scale < CROWDED_DEG && !isFar;
        const radius = isFar ? R.far : R.near;
        const [x, y] = at(onDial(deg), radius);
        return (
          <g key={mark} class="dial-mark">
            <Tick deg={onDial(deg)} class="" from={80} to={radius - 9} />
            <text x={x} y={y} dy="0.35em" text-anchor="middle">
              {mark.length > LABEL_LETTERS ? `${mark.slice(0, LABEL_LETTERS - 1)}…` : mark}
            </text>
          </g>
        );
      })}
      <Live channel={channel} onDial={onDial} />
    </svg>
  );
}

function Tick(props: { deg: number; class: string; from: number; to: number }) {
  const [x1, y1] = at(props.deg, props.from);
  const [x2, y2] = at(props.deg, props.to);
  return <line class={props.class} x1={x1} y1={y1} x2={x2} y2={y2} />;
}

/** What moves: only attributes change, 20 times a second. */
function Live({ channel, onDial }: { channel: string; onDial: (deg: number) => number }) {
  const state = stateOf(channel);
  const turn = (deg: number) => `rotate(${onDial(deg)})`;
  const shown = useComputed(() => (isUnknown(state.value) ? 'none' : 'inline'));
  const asked = useComputed(() => (isUnknown(state.value) ? 'inline' : 'none'));
  const limp = useComputed(() =>
    state.value.flags.includes('released') ? 'dial-needle is-limp' : 'dial-needle',
  );
  const needle = useComputed(() => turn(state.value.value as number));
  const target = useComputed(() => turn(state.value.target as number));
  const measured = useComputed(() => turn(state.value.measuredDeg ?? 0));
  const hidden = useComputed(() => (state.value.measuredDeg === undefined ? 'none' : 'inline'));
  return (
    <>
      <path
        class="dial-target"
        display={shown}
        transform={target}
        d={`M0 ${-R.envelope - 2}l-6 -11h12z`}
      />
      <path
        class={limp}
        display={shown}
        transform={needle}
        d={`M0 ${-R.needle}L4 0A4 4 0 0 1 -4 0z`}
      />
      <text class="dial-unknown" y={-40} text-anchor="middle" display={asked}>
        ?
      </text>
      <path
        class="dial-measured"
        transform={measured}
        display={hidden}
        d={`M0 ${-R.needle + 8}L7 0A7 7 0 0 1 -7 0z`}
      />
    </>
  );
}

/** What the dial's shapes mean. */
export function DialKey() {
  return (
    <ul class="dial-key hint">
      <li>
        <Sample>
          <path class="dial-needle" d="M8 1L11 15H5z" />
        </Sample>
        commanded
      </li>
      <li>
        <Sample>
          <path class="dial-measured" d="M8 1L12 15H4z" />
        </Sample>
        measured
      </li>
      <li>
        <Sample>
          <path class="dial-target" d="M8 14L3 4H13z" />
        </Sample>
        target
      </li>
      <li>
        <Sample>
          <path class="dial-limits" d="M0 8H16" />
        </Sample>
        soft limits
      </li>
      <li>
        <Sample>
          <path class="dial-envelope" d="M0 8H16" />
        </Sample>
        pulse envelope
      </li>
    </ul>
  );
}

function Sample({ children }: { children: preact.ComponentChildren }) {
  return (
    <svg viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">
      {children}
    </svg>
  );
}
