import type { Clock } from '../shared/clock.ts';
import {
  OUTCOME_PAUSE_MS,
  OUTCOME_WAIT_MS,
  type Writing,
  writeOutcomeOf,
  writeOutcomeText,
} from '../shared/write-outcome.ts';
import type { Client } from './client.ts';

/** How long to try to reach the daemon again (ms). */
const REACH_MS = 5000;

/**
 * What became of a change of the prop file whose answer was lost with the link: looks at the versions
 * that the daemon keeps, as an observer.
 * @returns a sentence for a person; it never claims what is not known
 */
export async function findWriteOutcome(
  writing: Writing,
  name: string,
  clock: Clock,
  connect: () => Promise<Client>,
): Promise<string> {
  const pause = () => new Promise<void>((resume) => clock.after(OUTCOME_PAUSE_MS, resume));
  const { what } = writing;
  const startMs = clock.nowMs();
  let client: Client | undefined;
  while (!client && clock.nowMs() - startMs < REACH_MS) {
    client = await connect().catch(() => undefined);
    if (!client) await pause();
  }
  if (!client) return writeOutcomeText(what, 'not known');
  const reachedMs = clock.nowMs();
  try {
    for (;;) {
      // The service that knows may just be starting again.
      const found = await client.call('prop.history', {}).catch(() => undefined);
      const late = clock.nowMs() - reachedMs >= OUTCOME_WAIT_MS;
      if (found) {
        const fate = writeOutcomeOf(writing, found.versions, name);
        if (fate !== 'not written' || late) return writeOutcomeText(what, fate);
      } else if (late || client.lost) return writeOutcomeText(what, 'not known');
      await pause();
    }
  } finally {
    await client.close().catch(() => {});
  }
}
