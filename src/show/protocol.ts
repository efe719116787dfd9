import type { Show } from '../prop/schema.ts';
import type { Answer, Status } from './wire.ts';

/** What the core's thread and the show's thread say to each other. Times are ms of `ownMs`, which both read alike. */

/** A clock that all threads and programs of this machine read alike (ms): monotonic. */
export function ownMs(): number {
  return Number(process.hrtime.bigint()) / 1e6;
}

/** What the prop is, for the show. */
export interface Facts {
  show: Show;
  /** The name of the prop in its file. */
  name: string;
  /** Version of the file. */
  file: string;
  cues: string[];
}

/** What the core tells of itself; the rest of a status is the link's. */
export type PropState = Pick<
  Extract<Status, { gone: false }>,
  | 'condition'
  | 'cause'
  | 'armed'
  | 'armedBy'
  | 'holder'
  | 'lockout'
  | 'runs'
  | 'waits'
  | 'battery'
  | 'wear'
  | 'problems'
>;

/** From the show's thread to the core. */
export type FromLink =
  | { t: 'go'; id: string; cue: string; startMs: number; from: string }
  /** A go that waits starts at another moment: the clocks are known better now. */
  | { t: 'retime'; id: string; startMs: number }
  /** A go that waits cannot be kept. */
  | { t: 'void'; id: string; reason: string }
  | { t: 'end'; id: string; cue: string | undefined; from: string }
  | { t: 'park'; id: string; from: string }
  | { t: 'stop'; id: string; category: 0 | 1 | 2; from: string }
  | { t: 'lockout'; id: string; reason: string | undefined; from: string }
  /** The broker hears this prop, or no longer; `problem` says why, without anything secret. */
  | { t: 'link'; connected: boolean; problem: string | null };

/** From the core to the show's thread. */
export type ToLink =
  | { t: 'facts'; facts: Facts }
  | { t: 'state'; state: PropState }
  | {
      t: 'answer';
      id: string;
      outcome: Answer['outcome'];
      code?: string;
      reason?: string;
      startedMs?: number;
    }
  | { t: 'close' };

/** What the show's thread is started with. */
export interface LinkStart {
  facts: Facts;
  /** Version of the program. */
  version: string;
  ring: SharedArrayBuffer;
  /** Counts up while the thread lives. */
  beat: SharedArrayBuffer;
}
