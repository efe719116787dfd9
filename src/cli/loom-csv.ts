import { wiresOf } from '../prop/loom.ts';
import { sorted, splitEnd } from '../prop/loom-words.ts';
import { measuringPartsOf } from '../prop/measuring-path.ts';
import type { Prop } from '../prop/schema.ts';
import { csvRows } from '../shared/csv.ts';
import { wireColourName } from '../sums/wire-colours.ts';

const HEAD = [
  ...['label', 'channel', 'rail', 'gauge_awg', 'section_mm2', 'length_m'],
  ...['role', 'colour', 'colour_name'],
  ...['from', 'from_connector', 'from_cavity', 'to', 'to_connector', 'to_cavity', 'place'],
];

/** The loom as `csvRows` has it: a row for each core, then one for each shunt and resistor of a divider. */
export function loomCsv(prop: Prop): string {
  const rows = sorted(wiresOf(prop), ({ label }) => label).flatMap((wire) =>
    wire.cores.map(({ role, colour, from, to }) => {
      const [start, end] = [splitEnd(from), splitEnd(to)];
      return [
        ...[wire.label, wire.channel, wire.rail, wire.gaugeAwg, wire.sectionMm2, wire.lengthM],
        ...[role, colour, wireColourName(colour)],
        ...[from, start.connector, start.cavity, to, end.connector, end.cavity, wire.place],
      ];
    }),
  );
  const parts = measuringPartsOf(prop).map(({ sense: label, channel, rail, part, from, to }) => {
    const row: Record<string, string | undefined> = { label, channel, rail, role: part, from, to };
    return HEAD.map((column) => row[column]);
  });
  return csvRows([HEAD, ...rows, ...parts]);
}
