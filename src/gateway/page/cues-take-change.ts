import type { Params } from '../../api/methods.ts';
import { freeName } from '../../prop/name.ts';
import { withMinus } from '../../shared/minus.ts';
import { tidy } from '../../shared/units.ts';

/** What becomes of a take before it is saved. Pure. */

type Wanted = Params<'take.read'>;

/** The changes that a person has chosen; what is undefined stays as it is. */
export interface Changes {
  smoothS?: number | undefined;
  /** Of its width (%). */
  widthPercent?: number | undefined;
  aboutDeg?: number | undefined;
  mirrorDeg?: number | undefined;
  shiftDeg?: number | undefined;
  /** Undefined: no point is left out. */
  toleranceDeg?: number | undefined;
}

/** Without changes: a recording has a point for each sample, and needs few of them. */
export const AS_RECORDED: Changes = { toleranceDeg: 0.5 };
export const AS_IT_IS: Changes = {};

/** What is asked of the daemon. @param take a take of the prop; empty for the recording */
export function wantedOf(
  take: string,
  { widthPercent, aboutDeg, ...changes }: Changes,
  trim?: readonly [number, number],
): Wanted {
  const scaled =
    widthPercent === undefined
      ? {}
      : { scale: widthPercent / 100, ...(aboutDeg !== undefined && { aboutDeg }) };
  const all = Object.entries({ ...changes, ...scaled }).filter(([, value]) => value !== undefined);
  return {
    ...(take !== '' && { take }),
    ...Object.fromEntries(all),
    ...(trim && { trim: [trim[0], trim[1]] as [number, number] }),
  };
}

/** A name that no take has: `wave_2` for another `wave`. */
export function freeTakeName(name: string, takes: readonly string[]): string {
  const stem = name.replace(/_\d+$/, '');
  return freeName(stem, new Set([stem, ...takes]));
}

type Curve = readonly (readonly [tS: number, deg: number])[];

/** The lowest and the highest angle of curves (deg). */
export function rangeOfCurves(...curves: readonly Curve[]): [low: number, high: number] {
  // Not Math.min(...all): a long take has more points than a call has arguments.
  const all = curves.flatMap((curve) => curve.map(([, deg]) => deg));
  return [
    all.reduce((least, deg) => Math.min(least, deg), all[0] ?? 0),
    all.reduce((most, deg) => Math.max(most, deg), all[0] ?? 0),
  ];
}

/** Rounding alone (deg). */
const SAME_DEG = 0.01;

/** How far a curve goes past the limits, in words; empty where it does not. */
export function pastLimits(
  name: string,
  curve: Curve,
  limits: readonly [number, number] | undefined,
): string {
  if (!limits || curve.length === 0) return '';
  const [low, high] = rangeOfCurves(curve);
  const past = low < limits[0] - SAME_DEG ? low : high > limits[1] + SAME_DEG ? high : undefined;
  if (past === undefined) return '';
  const text = (deg: number) => withMinus(tidy(deg, 1));
  return `${name} would go to ${text(past)} deg; its limits are ${text(limits[0])} to ${text(limits[1])} deg. No cue can play it like this.`;
}
