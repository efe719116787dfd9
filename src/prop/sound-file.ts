/** A sound file beside the prop file. */
export interface PlayedFile {
  /** Its name, and its whole path. */
  file: string;
  path: string;
  /** How long it takes (s); 0 where it is missing or cannot be read. */
  durationS: number;
  /** Why it cannot be played, as far as its header tells. */
  problem?: { wrong: string; right: string };
}

/** What is found beside the prop file; not a part of its text. */
export interface WithSounds {
  soundFiles?: Readonly<Record<string, PlayedFile>>;
}
