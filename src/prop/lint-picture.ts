import type { Notes } from './notes.ts';

/** Checks that the places of the picture are those of channels. */
export function lintPicture(notes: Notes): void {
  for (const name of Object.keys(notes.prop.picture?.places ?? {}))
    notes.find('channels', name, ['picture', 'places', name], true);
}
