import type { LoomWire } from './loom.ts';
import { grouped, sorted } from './loom-words.ts';

/** Wires that run together, because what they lead to sits in one place of the prop. */
export interface Bundle {
  place: string;
  /** Labels, in their order. */
  wires: string[];
  /** In all wires together: they decide how wide its sleeve must be. */
  cores: number;
  /** Of the longest of them (m); undefined where the file gives none. */
  lengthM: number | undefined;
}

/** The bundles among wires, by the `place` of their channels. One wire alone is not a bundle. */
export function bundlesOf(all: Iterable<LoomWire>): Bundle[] {
  const byPlace = grouped(all, ({ place }) => place);
  return sorted(byPlace, ([place]) => place)
    .filter(([, wires]) => wires.length > 1)
    .map(([place, wires]) => {
      const lengths = wires.flatMap(({ lengthM }) => lengthM ?? []);
      return {
        place,
        wires: sorted(wires, ({ label }) => label).map(({ label }) => label),
        cores: wires.reduce((sum, { cores }) => sum + cores.length, 0),
        lengthM: lengths.length > 0 ? Math.max(...lengths) : undefined,
      };
    });
}
