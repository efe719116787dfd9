/** A sound file beside the prop file. */
export interface PlayedFile {
  /** Its name, and its whole path. */
  file: string;
  path: string;
  /** How long it takes (s); 0 where it is missing or cannot be read. */
  durationS: number;
}

/** What is found beside the prop file; not a part of its text. */
export interface WithSounds {
  soundFiles?: Readonly<Record<string, PlayedFile>>;
}
