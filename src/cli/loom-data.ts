import type { ConnectorView } from '../drawings/connector-picture.tsx';
import type { LoomView } from '../drawings/loom-picture.tsx';
import { slotsOf } from '../drawings/pins.ts';
import { bundlesOf } from '../prop/bundles.ts';
import { Loom, type PlacedWire } from '../prop/loom.ts';
import { sorted } from '../prop/loom-words.ts';
import { measuringPartsOf } from '../prop/measuring-path.ts';
import { boardPins } from '../prop/pins.ts';
import type { Prop } from '../prop/schema.ts';
import { wireColourName } from '../sums/wire-colours.ts';

/** What the forms of `sinew loom` have in common: the order that a person expects. */

/** Every connector, with its free cavities as far as the file gives them. */
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

/** Everything that is drawn of the loom. */
export function loomView(prop: Prop): LoomView {
  const loom = new Loom(prop);
  const connectorOf = new Map([...loom.boards].map(([connector, board]) => [board, connector]));
  const boards = Object.keys(prop.boards).flatMap((name) => {
    const board = boardPins(prop, name);
    const connector = connectorOf.get(name);
    const cavities = connector === undefined ? undefined : loom.connectors.get(connector);
    const slots = slotsOf(board, (number) => cavities?.get(String(number)) ?? []);
    // One that only measures, and a sound card, have no pins to draw.
    if (slots.length === 0) return [];
    return { name, board, slots, ...(connector !== undefined && { connector }) };
  });
  const { wires } = loom;
  const parts = measuringPartsOf(prop);
  return { name: prop.name, wires, boards, connectors: connectorsOf(prop, loom), parts };
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
  const boards = Object.fromEntries(
    Object.keys(prop.boards).map((name) => [name, boardPins(prop, name)]),
  );
  const bundles = bundlesOf(loom.wires);
  const parts = measuringPartsOf(prop);
  return {
    ...{ name: prop.name, wires: loom.wires.map(plain), connectors, boards, bundles },
    ...(parts.length > 0 && { parts }),
  };
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
