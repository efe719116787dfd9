import type { MaintainEvery, MaintainKey } from '../prop/schema-parts.ts';
import type { WearCounts, WearLimit } from './types.ts';

const COUNTED: { [K in MaintainKey]: (counts: WearCounts) => number } = {
  cycles: ({ cycles }) => cycles,
  starts: ({ starts }) => starts,
  closures: ({ closures }) => closures,
  hours: ({ onS }) => onS / 3600,
};
const KEYS = Object.keys(COUNTED) as MaintainKey[];

/** What was counted since the last maintenance beside what the prop file allows. */
export function limitsOf(counts: WearCounts, every: MaintainEvery): WearLimit[] {
  return KEYS.flatMap((of) => {
    const limit = every[of];
    return limit === undefined ? [] : [{ of, count: hundredths(COUNTED[of](counts)), limit }];
  });
}

/** Down: what is nearly due must not read as if it were. The last digit of a sum of ticks counts for nothing. */
const hundredths = (value: number): number => Math.floor(value * 100 + 1e-6) / 100;

export const isDue = ({ count, limit }: WearLimit): boolean => count >= limit;

/** In words: `100210 of 100000 cycles, 12 of 500 hours`. */
export function maintainText(limits: readonly WearLimit[]): string {
  return limits.map(({ of, count, limit }) => `${count} of ${limit} ${of}`).join(', ');
}
