import { type CoreEnd, Loom, type LoomWire, type PlacedWire } from '../prop/loom.ts';
import { sorted } from '../prop/loom-words.ts';
import { type BoardInfo, boardPins } from '../prop/pins.ts';
import type { Prop } from '../prop/schema.ts';
import { wireColourName } from '../sums/wire-colours.ts';

/** What the forms of `sinew loom` have in common: the order of a person, and the words. */

/** `24 AWG`, `0.25 mm2`; empty where the file gives neither. */
export function gauge({ gaugeAwg, sectionMm2 }: LoomWire): string {
  if (gaugeAwg !== undefined) return `${gaugeAwg} AWG`;
  return sectionMm2 === undefined ? '' : `${sectionMm2} mm2`;
}

export function length({ lengthM }: LoomWire): string {
  return lengthM === undefined ? '' : `${lengthM} m`;
}

/** What a wire is for: its channel, or the rail that it feeds. */
export function purpose({ channel, rail }: LoomWire): string {
  return channel ?? rail ?? '';
}

/** `YE yellow`; the code alone where it is none of IEC 60757. */
export function colourText(code: string): string {
  return [code, wireColourName(code)].filter(Boolean).join(' ');
}

/** One connector, as one stands in front of it. */
export interface ConnectorView {
  name: string;
  /** What it is, in words. */
  about: string;
  board?: string;
  /** In order; those that are free, too, where the file tells how many there are. */
  cavities: { cavity: string; ends: readonly CoreEnd[] }[];
  /** Cavities that are joined inside. */
  bridged: string[][];
}

export function connectorsOf(prop: Prop, loom: Loom): ConnectorView[] {
  return sorted(loom.connectors, ([name]) => name).map(([name, cavities]) => {
    const spec = Object.hasOwn(prop.connectors, name) ? prop.connectors[name]! : {};
    const board = loom.boards.get(name);
    const names = new Set(cavities.keys());
    if (board === undefined) for (let i = 1; i <= (spec.cavities ?? 0); i++) names.add(String(i));
    return {
      name,
      about: spec.name ?? (board === undefined ? '' : `pins of ${board}`),
      ...(board !== undefined && { board }),
      cavities: sorted(names, (cavity) => cavity).map((cavity) => ({
        cavity,
        ends: cavities.get(cavity) ?? [],
      })),
      bridged: (spec.bridged ?? []).map((bridge) => bridge.map(String)),
    };
  });
}

export function boardsOf(prop: Prop): Record<string, BoardInfo> {
  return Object.fromEntries(Object.keys(prop.boards).map((name) => [name, boardPins(prop, name)]));
}

/** The loom as `--json` has it. */
export function loomOf(prop: Prop) {
  const loom = new Loom(prop);
  const connectors = connectorsOf(prop, loom).map(({ cavities, ...view }) => ({
    ...view,
    cavities: cavities.map(({ cavity, ends }) => ({
      cavity,
      cores: ends.map(({ wire, core, other }) => ({
        label: wire.label,
        ...(wire.channel !== undefined && { channel: wire.channel }),
        role: core.role,
        colour: core.colour,
        other,
      })),
    })),
  }));
  return { name: prop.name, wires: loom.wires.map(plain), connectors, boards: boardsOf(prop) };
}

/** A wire without its place in the file, its colours by name as well. */
function plain({ path: _path, own: _own, cores, ...wire }: PlacedWire) {
  return {
    ...wire,
    cores: cores.map((core) => {
      const colourName = wireColourName(core.colour);
      return { ...core, ...(colourName !== undefined && { colourName }) };
    }),
  };
}
