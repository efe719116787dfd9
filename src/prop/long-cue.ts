import type { Cue } from './schema.ts';

/** A cue in its long form, whichever way it was written. */
export function longCue(given: Cue): Exclude<Cue, readonly unknown[]> {
  return Array.isArray(given) ? { clash: 'refuse', steps: given } : given;
}
