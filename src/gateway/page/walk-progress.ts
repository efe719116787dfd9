import type { ChannelInfo } from '../../api/types.ts';
import { type Kept, readKept } from './kept.ts';

/** The guided walk: what it knows between its steps, kept so that it can be left and resumed. */

export type End = 'low' | 'high';
/** The other limit of the two. */
export const otherEnd = (end: End): End => (end === 'low' ? 'high' : 'low');

export const STEPS = ['before', 'first', 'second', 'marks', 'park', 'try', 'done'] as const;
export type Step = (typeof STEPS)[number];

/** How far inside a mechanical stop the soft limit is set (deg). */
export const MARGIN_DEG = { default: 2, max: 10 } as const;

/** How far the walk of one channel has come. */
export interface Progress {
  step: Step;
  firstEnd: End;
  marginDeg: number;
  /** Where the ends were found (deg). */
  ends: { low?: number; high?: number };
  /** What was written into the prop file, a sentence each. */
  written: string[];
}

/** The progress of a walk that has not begun. */
export const fresh = (): Progress => ({
  step: 'before',
  firstEnd: 'low',
  marginDeg: MARGIN_DEG.default,
  ends: {},
  written: [],
});

const keyOf = (prop: string, channel: string) => `sinew-walk/${prop}/${channel}`;

/** What was kept of a walk; undefined when there is none, or none that can be read. */
export function load(kept: Kept, prop: string, channel: string): Progress | undefined {
  const found = readKept(kept.getItem(keyOf(prop, channel)));
  return isProgress(found) ? found : undefined;
}

/** Keeps how far a walk has come. */
export function save(kept: Kept, prop: string, channel: string, progress: Progress): void {
  kept.setItem(keyOf(prop, channel), JSON.stringify(progress));
}

/** Forgets the walk of a channel. */
export function clear(kept: Kept, prop: string, channel: string): void {
  kept.removeItem(keyOf(prop, channel));
}

function isProgress(found: unknown): found is Progress {
  const { step, firstEnd, marginDeg, ends, written } = (found ?? {}) as Partial<Progress>;
  const isDeg = (deg: unknown) => deg === undefined || Number.isFinite(deg);
  return (
    STEPS.includes(step as Step) &&
    (firstEnd === 'low' || firstEnd === 'high') &&
    typeof marginDeg === 'number' &&
    marginDeg >= 0 &&
    marginDeg <= MARGIN_DEG.max &&
    typeof ends === 'object' &&
    ends !== null &&
    isDeg(ends.low) &&
    isDeg(ends.high) &&
    Array.isArray(written) &&
    written.every((line) => typeof line === 'string')
  );
}

/** What stands in the way of a new soft limit. */
export interface Conflicts {
  /** The other limit (deg), where the new one is not on its right side. */
  otherLimit?: number;
  /** The park position (deg), where it is an angle that would be left outside. */
  park?: number;
  /** Marks that would be left outside. */
  marks: string[];
}

/** @param deg where the limit would be; undefined when nothing stands in its way */
export function conflicts(info: ChannelInfo, end: End, deg: number): Conflicts | undefined {
  const sign = end === 'low' ? 1 : -1;
  const isOutside = (at: number) => (at - deg) * sign < 0;
  const other = info.limitsDeg![end === 'low' ? 1 : 0];
  const { to } = info.park;
  const found: Conflicts = {
    marks: Object.entries(info.marks ?? {})
      .filter(([, at]) => isOutside(at))
      .map(([mark]) => mark),
  };
  if ((other - deg) * sign <= 0) found.otherLimit = other;
  if (typeof to === 'number' && isOutside(to)) found.park = to;
  const isFree = found.otherLimit === undefined && found.park === undefined;
  return isFree && found.marks.length === 0 ? undefined : found;
}
