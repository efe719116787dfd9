import type { Clock } from '../shared/clock.ts';
import type { Client } from './client.ts';

/** How long it is tried to reach the daemon again (ms). */
const REACH_MS = 5000;
/** How long after that a slow disk is waited for (ms). */
const WRITE_MS = 3000;
const PAUSE_MS = 250;

interface Version {
  version: string;
  who: string;
  what: string;
}

/**
 * What became of a change of the prop file whose answer was lost with the link: looks at the versions
 * that the daemon keeps, as an observer.
 * @param writing the change in words, and the version that was in force before it
 * @returns a sentence for a person; it never claims what is not known
 */
export async function findFate(
  writing: { what: string; version: string },
  name: string,
  clock: Clock,
  connect: () => Promise<Client>,
): Promise<string> {
  const pause = () => new Promise<void>((resume) => clock.after(PAUSE_MS, resume));
  const unknown = `whether ${writing.what} was written is not known; look with sinew history`;
  const startMs = clock.nowMs();
  let client: Client | undefined;
  while (!client && clock.nowMs() - startMs < REACH_MS) {
    client = await connect().catch(() => undefined);
    if (!client) await pause();
  }
  if (!client) return unknown;
  const reachedMs = clock.nowMs();
  try {
    for (;;) {
      // The service that knows may just be starting again.
      const found = await client.call('prop.history').catch(() => undefined);
      const late = clock.nowMs() - reachedMs >= WRITE_MS;
      if (found) {
        const { versions } = found as { versions: Version[] };
        const at = versions.findIndex(({ version }) => version === writing.version);
        const since = at < 0 ? versions : versions.slice(0, at);
        // Only who held the lease can have written under this name meanwhile.
        const mine = since.find(({ who }) => who === name);
        if (mine) return `${writing.what} was written to the prop file (version ${mine.version})`;
        if (at < 0) return unknown;
        if (late) return `${writing.what} was not written to the prop file`;
      } else if (late || client.lost) return unknown;
      await pause();
    }
  } finally {
    await client.close().catch(() => {});
  }
}
