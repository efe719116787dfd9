/** What a person asks for: other steps for a cue, or its removal. */
export interface CueChange {
  cue: string;
  /** As the file has them; none removes the cue. */
  steps?: Record<string, unknown>[] | undefined;
  /** They replace only `count` steps of the cue, beginning with this one (from 0). */
  from?: number | undefined;
  count?: number | undefined;
}
