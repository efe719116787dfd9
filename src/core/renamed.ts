/** Channels that go on under another name in another version of the prop file. */

/** What was, or is, at a place: output and all that its saved state depends on. */
export interface AtPlace {
  name: string;
  place: string;
}

/**
 * What of before goes on under another name: the only one that was at the place of something new, and
 * whose own name is gone. Two names that are swapped, or a name that has gone to another place, are not
 * renamed: nobody can tell whether the names were changed or the plugs.
 * @param names everything that there is now
 * @returns old names by the new ones
 */
export function renamed(
  before: readonly AtPlace[],
  now: readonly AtPlace[],
  names: { has(name: string): boolean },
): Map<string, string> {
  const known = new Set<string>();
  /** By place; undefined where there are several. */
  const gone = new Map<string, string | undefined>();
  for (const { name, place } of before) {
    known.add(name);
    if (!names.has(name)) gone.set(place, gone.has(place) ? undefined : name);
  }
  const found = new Map<string, string>();
  for (const { name, place } of now) {
    const old = known.has(name) ? undefined : gone.get(place);
    if (old === undefined) continue;
    found.set(name, old);
    gone.set(place, undefined);
  }
  return found;
}

/**
 * As `renamed`, but only if a single one is gone and a single one is new: of two relays that have other
 * names, nobody can tell which load hangs on which pin now, and a load that is hot must not get the rest
 * of a cool one.
 */
export function renamedAlone(
  before: readonly AtPlace[],
  now: readonly AtPlace[],
  names: { has(name: string): boolean },
): Map<string, string> {
  const known = new Set(before.map(({ name }) => name));
  const gone = before.filter(({ name }) => !names.has(name)).length;
  const came = now.filter(({ name }) => !known.has(name)).length;
  return gone === 1 && came === 1 ? renamed(before, now, names) : new Map();
}
