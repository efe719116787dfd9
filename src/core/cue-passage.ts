import type { CueStep } from '../prop/steps.ts';
import type { PlayedTake } from '../prop/take/played.ts';

/** A passage of a cue: all of it, or the rest from a time in it, as fast as in the file or slower. */

/** What of a cue is to be played. */
export interface PassageAsked {
  cue: string;
  /** From this time in the cue (s). */
  fromS: number;
  /** As fast as the file says: 1; half as fast: 0.5. */
  rate: number;
}

/** One step of a passage. */
export interface PassageStep {
  /** Its place in the cue; undefined for a step that brings the prop to where the passage begins. */
  place: number | undefined;
  spec: CueStep;
  /** What it plays. */
  take?: PlayedTake | undefined;
  /** It lasts so long at least (s), whatever it does. */
  lastsS?: number;
}

/** A cue as a passage has it. */
export interface PassageCue {
  /** Its name in the prop file. */
  name: string;
  steps: PassageStep[];
}

/** A passage, worked out where there is time for it: the core runs its steps as those of any cue. */
export interface CuePassage extends PassageAsked {
  /** The version of the prop file that it was worked out from. */
  version: string;
  own: PassageCue;
  /** The cues within it that are not as in the file, by the names that its steps have for them. */
  within: Record<string, PassageCue>;
  /** What cannot be played from there, or at this rate, in words. */
  leftOut: string[];
  /** How long bringing the prop to where the passage begins takes at least (s). */
  bringS: number;
}
