import type { NoticeParams } from '../api/notifications.ts';
import type { JournalEntry } from '../api/types.ts';

export type Cause = NoticeParams<'condition'>['cause'];

/** Why the prop has come into its condition; undefined for an entry about something else. */
export function causeOf({ what, who, text, values }: JournalEntry): Cause | undefined {
  if (what !== 'condition') return undefined;
  return given(values?.cause) ?? { code: `condition.${values?.condition}`, who, words: text };
}

function given(cause: unknown): Cause | undefined {
  if (typeof cause !== 'object' || cause === null) return undefined;
  const { code, who, words } = cause as Partial<Cause>;
  if (typeof code !== 'string' || typeof who !== 'string' || typeof words !== 'string')
    return undefined;
  return { code, who, words };
}
