import { MAX_SOUNDS_S } from '../sound/limits.ts';
import type { Notes } from './notes.ts';

/** Checks the sound files as far as their headers tell; `sinew check` decodes them as well. */
export function lintSounds(notes: Notes): void {
  let allS = 0;
  for (const [name, { file, durationS, problem }] of Object.entries(notes.prop.soundFiles ?? {})) {
    const path = ['sounds', name];
    if (problem)
      notes.warning(path, `${name} will not be heard: ${file}: ${problem.wrong}`, problem.right);
    const before = allS;
    allS += durationS;
    if (before <= MAX_SOUNDS_S && allS > MAX_SOUNDS_S)
      notes.warning(
        path,
        `from here on all sounds together are longer than the ${MAX_SOUNDS_S} s that are kept in memory`,
        'make them shorter, or fewer',
      );
  }
}
