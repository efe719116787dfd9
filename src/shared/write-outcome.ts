/** A change of the prop file whose answer was lost with the link. */
export interface Writing {
  /** In words: `mark open of beak`. */
  what: string;
  /** The version that was in use before it. */
  version: string;
}

interface Version {
  version: string;
  who: string;
}

/** How long after the link is back a slow disk is waited for (ms). */
export const OUTCOME_WAIT_MS = 3000;
export const OUTCOME_PAUSE_MS = 250;

/**
 * What the versions that are kept, newest first, tell of a change: it was written, it was not (so far),
 * or nobody can tell.
 * @param name the client that asked for it: it held the lease, so nobody else wrote under its name
 */
export function writeOutcomeOf(
  { version }: Writing,
  versions: readonly Version[],
  name: string,
): { written: string } | 'not written' | 'not known' {
  const at = versions.findIndex((one) => one.version === version);
  const since = at < 0 ? versions : versions.slice(0, at);
  const mine = since.find(({ who }) => who === name);
  if (mine) return { written: mine.version };
  return at < 0 ? 'not known' : 'not written';
}

/** The same for a person. */
export function writeOutcomeText(what: string, fate: ReturnType<typeof writeOutcomeOf>): string {
  if (fate === 'not written') return `${what} was not written to the prop file`;
  if (fate === 'not known')
    return `whether ${what} was written is not known; look with sinew history`;
  return `${what} was written to the prop file (version ${fate.written})`;
}
