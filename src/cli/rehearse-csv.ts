import { reader } from '../drawings/track.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import type { Rehearsal, Track } from '../rehearsal/rehearse.ts';
import { type Cell, csvRows } from '../shared/csv.ts';
import { tidy } from '../shared/units.ts';

/** Time from one row to the next (ms). */
const STEP_MS = 20;

/** The rehearsal: a row every 20 ms, with what every channel and rail has at that moment, as `csvRows` has it. */
export function rehearsalCsv({ durationS, tracks, rails }: Rehearsal): string {
  const head = [
    't_s',
    ...tracks.map(({ name, kind }) => `${name}_${kindOf({ kind }).value}`),
    ...rails.map(({ name }) => `${name}_A`),
  ];
  const readers = [
    ...tracks.map(({ tS, value }: Track) => reader(tS, value)),
    ...rails.map(({ tS, amps }) => reader(tS, amps)),
  ];
  const rows: Cell[][] = [head];
  const last = Math.ceil((durationS * 1000) / STEP_MS - 1e-6);
  for (let row = 0; row <= last; row++) {
    const atS = (row * STEP_MS) / 1000;
    const cells = readers.map((at) => {
      const value = at(atS);
      return typeof value === 'number' ? tidy(value, 4) : value;
    });
    rows.push([atS.toFixed(2), ...cells]);
  }
  return csvRows(rows);
}
