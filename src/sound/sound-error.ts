import { MAX_SOUND_S } from './limits.ts';

/** What is wrong with a sound file, and what to do. */
export class SoundError extends Error {
  readonly right: string;

  constructor(wrong: string, right: string) {
    super(wrong);
    this.right = right;
  }
}

/** How every sound can be saved. */
export const SAVE = 'save it again as WAV, FLAC, OGG (Vorbis) or MP3';

export function tooLong(): SoundError {
  return new SoundError(`it is longer than ${MAX_SOUND_S} s`, 'cut it into parts');
}
