import type { Params } from '../api/methods.ts';
import type { PassageAsked } from '../core/cue-passage.ts';
import type { Recording } from '../core/recorder.ts';
import type { Take } from '../prop/take/take-text.ts';
import type { Following } from '../sums/loudness.ts';

/** The text of a prop file, and the file's name. */
export interface PropSource {
  text: string;
  file: string;
}

/** How a servo follows a sound: where it is shut and open (deg), and `Following`. */
export interface Follow extends Following {
  channel: string;
  shutDeg: number;
  openDeg: number;
}

/** What is asked of the planner's thread; it reads no file itself. */
export type PlannerQuestion =
  | ({ about: 'check' } & PropSource)
  /** The whole prop, as far as there is time. */
  | ({ about: 'rehearsal'; version: string } & PropSource)
  /** What the sure corrections change; of the findings with these numbers, or all. */
  | ({ about: 'fix' } & PropSource & Params<'prop.fix'>)
  /** What a version differs in from the present one, and from the one in use. */
  | {
      about: 'difference';
      version: string;
      present: string;
      before: string;
      after: string;
      inUse: string;
      file: string;
    }
  /** The key reference: one key, or those that have the words of `find`. */
  | ({ about: 'explain' } & Params<'prop.explain'>)
  /** The budget without cues. */
  | ({ about: 'budget' } & PropSource)
  | ({ about: 'cue'; cue: string } & PropSource)
  /** What a cue will do, with steps as if they were saved. */
  | ({ about: 'cue-rehearsal'; version: string } & PropSource &
      Omit<Params<'cue.rehearse'>, 'text'>)
  /** A passage of a cue, for the core to run: `CuePassage`. */
  | ({ about: 'passage'; version: string } & PropSource & PassageAsked)
  /** A picture, made safe: `SafePicture`. */
  | { about: 'picture'; bytes: Uint8Array }
  /** A change of parts, and what it may be made of. */
  | ({ about: 'plan' } & PropSource & Params<'prop.plan'>)
  | ({ about: 'data'; version: string } & PropSource)
  /** A new prop: the next question, the proposal, its wiring, what to buy. */
  | ({ about: 'ask' } & Params<'proposal.ask'>)
  | ({ about: 'proposal'; file: string } & Params<'proposal.prop'>)
  | ({ about: 'loom'; version: string } & PropSource & Params<'proposal.loom'>)
  | ({ about: 'shopping' } & PropSource)
  /** How loud a sound is over time, and what a servo makes of it: `Recording`. */
  | { about: 'loudness'; name: string; bytes: Uint8Array }
  | { about: 'follow'; name: string; bytes: Uint8Array; how: Follow }
  /** What a recording, or a take, becomes: `MadeTake`. */
  | { about: 'take'; of: Recording | Take; params: Params<'take.read'> };

/** The questions about one thing, or several. */
export type Asked<A extends PlannerQuestion['about']> = Extract<PlannerQuestion, { about: A }>;
