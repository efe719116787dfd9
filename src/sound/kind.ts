import { isWav } from './wav.ts';

/** Kinds of sound files, by their usual endings. */
export type SoundKind = 'wav' | 'flac' | 'ogg' | 'mp3';

const starts = (bytes: Uint8Array, text: string) =>
  [...text].every((letter, i) => bytes[i] === letter.charCodeAt(0));

/** The kind of a sound file, by its first bytes; undefined for anything else. */
export function soundKind(bytes: Uint8Array): SoundKind | undefined {
  if (isWav(bytes)) return 'wav';
  if (starts(bytes, 'fLaC')) return 'flac';
  if (starts(bytes, 'OggS')) return 'ogg';
  // A tag of ID3v2, or the first bits of a frame.
  if (starts(bytes, 'ID3') || (bytes[0] === 0xff && (bytes[1]! & 0xe0) === 0xe0)) return 'mp3';
  return undefined;
}
