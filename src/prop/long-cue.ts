import type { Cue } from './schema.ts';

/** A cue in its long form, however it was written. */
export function longCue(given: Cue): Exclude<Cue, readonly unknown[]> {
  return Array.isArray(given) ? { clash: 'refuse', steps: given } : given;
}

/** Deepest nesting of cues. */
export const MAX_NESTED = 16;
/** Most steps of a cue, including those of the cues within it, counted each time they are used. */
export const MAX_STEPS = 10_000;
