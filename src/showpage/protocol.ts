import type { ShowPageAnswer, ShowPageCommand } from '../api/show-page.ts';
import type { Show } from '../prop/schema.ts';

/** What the gateway and the thread of the show's page say to each other. */

export type ToStage =
  | { t: 'read'; id: number }
  | { t: 'carry-out'; id: number; asked: ShowPageCommand }
  | { t: 'control'; has: boolean }
  | { t: 'close' };

/** The answer to a question: of `read` as JSON. */
export interface FromStage {
  id: number;
  answer: string | ShowPageAnswer;
}

/** What the thread is started with. */
export interface StageStart {
  show: Show;
  /** Counts up while the thread lives. */
  beat: SharedArrayBuffer;
}
