import { realpathSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { soundLengthS } from '../sound/length.ts';
import type { Prop } from './schema.ts';
import type { PlayedFile, WithSounds } from './sound-file.ts';

/**
 * A prop with the places and lengths of its sounds, as their files say in their headers.
 * @param file the prop file; where it is none, nothing is found beside it
 */
export function withSoundFiles<P extends Prop>(prop: P, file: string): P {
  const { sounds } = prop;
  const names = Object.keys(sounds);
  if (names.length === 0) return prop;
  let folder: string;
  try {
    folder = dirname(realpathSync(file));
  } catch {
    folder = dirname(file);
  }
  const found = names.map((name): [string, PlayedFile] => {
    const entry = sounds[name]!;
    const own = typeof entry === 'string' ? entry : entry.file;
    const path = join(folder, own);
    return [name, { file: own, path, durationS: soundLengthS(path) ?? 0 }];
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
