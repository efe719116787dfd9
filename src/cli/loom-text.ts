import {
  colourText,
  length,
  PART_COLUMNS,
  purpose,
  gauge as sizeText,
  wireCount,
} from '../drawings/words.ts';
import { bundlesOf } from '../prop/bundles.ts';
import { Loom, type PlacedWire } from '../prop/loom.ts';
import { grouped, sorted } from '../prop/loom-words.ts';
import { measuringPartsOf } from '../prop/measuring-path.ts';
import type { Prop } from '../prop/schema.ts';
import { connectorsOf } from './loom-data.ts';
import { aligned, table } from './output.ts';

/** The loom as lists: by connector, by channel, by label. */
export function loomText(prop: Prop): string {
  const loom = new Loom(prop);
  if (loom.wires.length === 0)
    return [`${prop.name}: the file names no wires`, ...measuring(prop)].join('\n\n');
  return [
    `${prop.name}: ${wireCount(loom.wires.length)}, ${loom.connectors.size} connectors`,
    `BY CONNECTOR\n${byConnector(prop, loom)}`,
    `BY CHANNEL\n${byChannel(loom)}`,
    `BY LABEL\n${byLabel(loom)}`,
    ...byPlace(loom),
    ...measuring(prop),
  ].join('\n\n');
}

function byConnector(prop: Prop, loom: Loom): string {
  const views = connectorsOf(prop, loom);
  const lines = aligned(
    views.flatMap(({ name, cavities }) =>
      cavities.flatMap(({ cavity, ends }) =>
        ends.length === 0
          ? [[`  ${name}-${cavity}`, '', '', '', 'free']]
          : ends.map(({ wire, core, other }) => [
              ...[`  ${name}-${cavity}`, wire.label, colourText(core.colour), core.role],
              ...[`-> ${other}`, purpose(wire)],
            ]),
      ),
    ),
  );
  return views
    .flatMap(({ name, about, cavities, bridged }) => [
      `${[name, about].filter(Boolean).join(', ')}`,
      ...bridged.map((bridge) => `  joined inside: ${bridge.join(' ')}`),
      ...lines.splice(
        0,
        cavities.reduce((sum, { ends }) => sum + Math.max(1, ends.length), 0),
      ),
    ])
    .join('\n');
}

function byChannel(loom: Loom): string {
  const groups = grouped(loom.wires, purpose);
  const rows = sorted(groups, ([name]) => name).flatMap(([name, wires]) =>
    sorted(wires, ({ label }) => label).map((wire, i) => [
      ...[i === 0 ? name || '(none)' : '', wire.label, gauge(wire), length(wire)],
      wire.cores.map(({ role, from, to }) => `${role} ${from} -> ${to}`).join(', '),
    ]),
  );
  return table(['channel', 'label', 'gauge', 'length', 'cores'], rows);
}

/** The bundles, where channels say where they sit. */
function byPlace(loom: Loom): string[] {
  const rows = bundlesOf(loom.wires).map(({ place, wires, cores, lengthM }) => [
    ...[place, String(cores), lengthM === undefined ? '' : `${lengthM} m`],
    wires.join(' '),
  ]);
  if (rows.length === 0) return [];
  return [`BY PLACE\n${table(['place', 'cores', 'longest', 'wires that run together'], rows)}`];
}

/** Shunts and dividers, with the ends between which they are. */
function measuring(prop: Prop): string[] {
  const rows = measuringPartsOf(prop).map(({ sense, rail, channel, part, from, to }) => [
    ...[sense, channel ?? rail ?? '', part, from, `-> ${to}`],
  ]);
  if (rows.length === 0) return [];
  const columns = PART_COLUMNS.map((column) => column.toLowerCase());
  return [`SHUNTS AND DIVIDERS\n${table(columns, rows)}`];
}

function byLabel(loom: Loom): string {
  const rows = sorted(loom.wires, ({ label }) => label).flatMap((wire) =>
    wire.cores.map(({ role, colour, from, to }, i) => [
      ...(i === 0 ? head(wire) : ['', '', '', '']),
      ...[role, colourText(colour), from, `-> ${to}`],
    ]),
  );
  return table(['label', 'for', 'gauge', 'length', 'role', 'colour', 'from', 'to'], rows);
}

function head(wire: PlacedWire): string[] {
  return [wire.label, purpose(wire), gauge(wire), length(wire)];
}

/** For a terminal that can show only ASCII. */
function gauge(wire: PlacedWire): string {
  return sizeText(wire).replace('²', '2');
}
