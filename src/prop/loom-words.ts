/** A loom in words: natural order, and short forms of ends. */

/** Made when it is first used: making it takes several ms, for which a start would wait. */
let collator: Intl.Collator | undefined;

/** A copy in natural order: W2 before W10. */
export function sorted<T>(things: Iterable<T>, key: (thing: T) => string): T[] {
  collator ??= new Intl.Collator('en', { numeric: true });
  const { compare } = collator;
  return [...things].sort((a, b) => compare(key(a), key(b)));
}

/** `J1-12` is cavity 12 of connector J1; an end without a hyphen is a connector by itself. */
export function splitEnd(end: string): { connector: string; cavity: string } {
  const at = end.lastIndexOf('-');
  if (at < 1) return { connector: end, cavity: '' };
  return { connector: end.slice(0, at), cavity: end.slice(at + 1) };
}

/** Short form of ends: `J1-12 TB1-2/7` for `J1-12`, `TB1-2` and `TB1-7`. */
export function shortEnds(ends: readonly string[]): string {
  const cavities = new Map<string, string[]>();
  for (const { connector, cavity } of ends.map(splitEnd))
    cavities.set(connector, [...(cavities.get(connector) ?? []), cavity]);
  return [...cavities]
    .map(([connector, list]) =>
      [connector, list.filter(Boolean).join('/')].filter(Boolean).join('-'),
    )
    .join(' ');
}

/** Things in lists by key, in their order; those without a key are left out. */
export function grouped<T>(
  things: Iterable<T>,
  key: (thing: T) => string | undefined,
): Map<string, T[]> {
  const groups = new Map<string, T[]>();
  for (const thing of things) {
    const name = key(thing);
    if (name === undefined) continue;
    const group = groups.get(name);
    if (group) group.push(thing);
    else groups.set(name, [thing]);
  }
  return groups;
}
