import { type Data, mapOf } from './setup-parts-data.ts';

export interface WireEntry {
  label: string;
  about: string;
  path: (string | number)[];
  data: Data;
  cores: { role: string; colour: string; from: string; to: string }[];
}

/** Every wire of the file: of channels, and of the rest of the loom. */
export function wireEntries(data: Data): WireEntry[] {
  const own = Object.entries(mapOf(data.channels)).flatMap(([name, channel]) => {
    const { wire } = mapOf(channel);
    return wire ? [entry(mapOf(wire), ['channels', name, 'wire'], name)] : [];
  });
  const rest = Array.isArray(data.wires) ? data.wires : [];
  return [
    ...own,
    ...rest.map((wire, i) => {
      const { channel, rail } = mapOf(wire);
      return entry(mapOf(wire), ['wires', i], String(channel ?? rail ?? ''));
    }),
  ];
}

function entry(data: Data, path: (string | number)[], of: string): WireEntry {
  const cores = (Array.isArray(data.cores) ? data.cores : []) as WireEntry['cores'];
  const ends = cores.map(({ from, to }) => `${from} – ${to}`).join(', ');
  return { label: String(data.label), about: `${of} ${ends}`.trim(), path, data, cores };
}
