import type { Cue } from './schema.ts';

/** A cue in its long form, whichever way it was written. */
export function longCue(given: Cue): Exclude<Cue, readonly unknown[]> {
  return Array.isArray(given) ? { clash: 'refuse', steps: given } : given;
}

/** Cues within cues may go this deep. */
export const MAX_NESTED = 16;
/** A cue has at most so many steps, those of the cues within it counted wherever they run. */
export const MAX_STEPS = 10_000;
