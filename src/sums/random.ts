/** A source of numbers in [0, 1) that is the same for the same seed. */
export type Random = () => number;

/**
 * The generator mulberry32 (Tommy Ettinger, public domain, from memory): 32 bits of state, good enough
 * for a blink, and equal on every machine.
 */
export function seeded(seed: number): Random {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = state;
    mixed = Math.imul(mixed ^ (mixed >>> 15), mixed | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** A seed from a name: FNV-1a, 32 bits (draft-eastlake-fnv). */
export function seedOf(name: string): number {
  let hash = 0x811c9dc5;
  for (const byte of new TextEncoder().encode(name)) hash = Math.imul(hash ^ byte, 0x01000193);
  return hash >>> 0;
}
