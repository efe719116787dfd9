import { realpathSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { soundHead } from '../sound/length.ts';
import type { Prop } from './schema.ts';
import type { PlayedFile, WithSounds } from './sound-file.ts';

/**
 * A prop with the places and lengths of its sounds, as their files say in their headers.
 * @param file the prop file; where it is none, nothing is found beside it
 */
export function withSoundFiles<P extends Pick<Prop, 'sounds'>>(
  prop: P,
  file: string,
): P & WithSounds {
  const { sounds } = prop;
  const names = Object.keys(sounds);
  if (names.length === 0) return prop;
  let folder: string;
  let isThere = true;
  try {
    folder = dirname(realpathSync(file));
  } catch {
    // A text that is only proposed: nothing is known of what will be beside it.
    folder = dirname(file);
    isThere = false;
  }
  const found = names.map((name): [string, PlayedFile] => {
    const entry = sounds[name]!;
    const own = typeof entry === 'string' ? entry : entry.file;
    const path = join(folder, own);
    const head = soundHead(path);
    const problem = isThere && 'wrong' in head ? { problem: head } : {};
    const durationS = 'wrong' in head ? 0 : head.durationS;
    return [name, { file: own, path, durationS, ...problem }];
  });
  return { ...prop, soundFiles: Object.fromEntries(found) };
}

/** How long the sounds of a step take, the longest of them (s). */
export function soundS(
  { soundFiles }: WithSounds,
  { sound }: { sound?: Readonly<Record<string, string>> | undefined },
): number {
  let longestS = 0;
  for (const name of Object.values(sound ?? {}))
    longestS = Math.max(longestS, soundFiles?.[name]?.durationS ?? 0);
  return longestS;
}
