import type { Incident } from '../api/types.ts';
import { withMinus } from '../shared/minus.ts';
import { tidy } from '../shared/units.ts';

/** What was recorded before a stop, as curves: what moved or changed, and what it drew. */

type Body = Incident['body'];
type Series = Body['rails'][string]['amps'];

export interface Curve {
  name: string;
  unit: string;
  /** At each time of the record; null: not known. */
  values: readonly (number | null)[];
  /** Where it was to go, where that is known. */
  target?: readonly (number | null)[];
  low: number;
  high: number;
  /** At the event itself. */
  atEvent: number | null;
}

/** The curves of all that changed; what stayed the same is left out. */
export function curvesOf(body: Body): Curve[] {
  const zero = Math.max(
    0,
    body.t.findLastIndex((t) => t <= 0),
  );
  const curves: Curve[] = [];
  const add = (name: string, unit: string, series: Series | undefined, target?: Series) => {
    if (!Array.isArray(series)) return;
    const to = target === undefined || target === null ? undefined : whole(target, body.t.length);
    const all = [...series, ...(to ?? [])].filter((value) => value !== null);
    if (all.length === 0) return;
    const [low, high] = [Math.min(...all), Math.max(...all)];
    curves.push({
      ...{ name, unit, values: series, low, high, atEvent: series[zero] ?? null },
      ...(to && { target: to }),
    });
  };
  for (const [name, { value, target, measuredDeg, measuredA }] of Object.entries(body.channels)) {
    add(name, target === undefined ? '' : 'deg', value, target);
    add(`${name}, measured`, 'deg', measuredDeg);
    add(`${name}, measured`, 'A', measuredA);
  }
  for (const [name, { amps, measuredA, measuredV }] of Object.entries(body.rails)) {
    add(`${name}, estimated`, 'A', amps);
    add(`${name}, measured`, 'A', measuredA);
    add(`${name}, measured`, 'V', measuredV);
  }
  for (const [name, { unit, value }] of Object.entries(body.senses)) add(name, unit, value);
  add('age of the link', 'ms', body.linkMs);
  return curves;
}

function whole(series: Series, length: number): readonly (number | null)[] {
  return Array.isArray(series) ? series : new Array<number | null>(length).fill(series);
}

const WIDTH = 300;
const HEIGHT = 40;

/** The curves one below the other, over one time; the line down each is the event. */
export function IncidentPicture({ body }: { body: Body }) {
  const { t } = body;
  const curves = curvesOf(body);
  const from = t[0] ?? 0;
  const to = Math.max(t.at(-1) ?? 0, from + 0.1);
  const x = (s: number) => (((s - from) / (to - from)) * WIDTH).toFixed(1);
  if (curves.length === 0) return <p class="hint">Nothing changed in the seconds before it.</p>;
  return (
    <>
      {curves.map((curve) => {
        const words = wordsOf(curve);
        return (
          <figure key={`${curve.name} ${curve.unit}`} class="kept-curve">
            <figcaption>
              {curve.name}: {words}
            </figcaption>
            <svg
              viewBox={`0 -2 ${WIDTH} ${HEIGHT + 4}`}
              preserveAspectRatio="none"
              role="img"
              aria-label={`${curve.name}, ${words}`}
            >
              <line class="event" x1={x(0)} x2={x(0)} y1="-2" y2={HEIGHT + 2} />
              {curve.target && <path class="target" d={pathOf(t, curve.target, curve, x)} />}
              <path d={pathOf(t, curve.values, curve, x)} />
            </svg>
          </figure>
        );
      })}
      <p class="hint">
        {figure(from)} to {figure(to)} s; the line down marks the event
        {curves.some(({ target }) => target) && ', the dashes where it was to go'}.
      </p>
    </>
  );
}

function wordsOf({ low, high, atEvent, unit }: Curve): string {
  const at = atEvent === null ? 'not known at the event' : `${figure(atEvent)} at the event`;
  return `${figure(low)} to ${figure(high)}${unit && ` ${unit}`}, ${at}`;
}

const figure = (value: number): string => withMinus(tidy(value, 2));

/** The path of a series: where it is not known, nothing is drawn. */
function pathOf(
  t: readonly number[],
  values: readonly (number | null)[],
  { low, high }: Curve,
  x: (s: number) => string,
): string {
  let path = '';
  let pen = 'M';
  for (const [i, value] of values.entries()) {
    const s = t[i];
    if (value === null || s === undefined) {
      pen = 'M';
      continue;
    }
    const y = high === low ? HEIGHT / 2 : ((high - value) / (high - low)) * HEIGHT;
    path += `${pen}${x(s)} ${y.toFixed(1)}`;
    pen = 'L';
  }
  return path;
}
