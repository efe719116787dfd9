import { wireColourName } from '../sums/wire-colours.ts';
import type { LoomWire, PlacedWire } from './loom.ts';
import { wiresOf } from './loom.ts';
import type { Prop } from './schema.ts';

/**
 * The wires that match a text, including trunk wires: by part of a label, channel, rail or end, by the
 * start of a role, or by the whole code or name of a colour. Every word of the text must match; an empty
 * text finds all wires.
 */
export function findWires(prop: Prop, text: string): LoomWire[] {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  return wiresOf(prop)
    .filter((wire) => matches(wire, words))
    .map(loomWire);
}

function matches({ label, channel, rail, cores }: LoomWire, words: readonly string[]): boolean {
  const parts = [label, channel ?? '', rail ?? '', ...cores.flatMap(({ from, to }) => [from, to])];
  const roles = cores.map(({ role }) => role);
  const colours = cores.flatMap(({ colour }) => [colour, ...nameWords(colour)]);
  return words.every(
    (word) =>
      parts.some((part) => part.toLowerCase().includes(word)) ||
      roles.some((role) => role.toLowerCase().startsWith(word)) ||
      colours.some((colour) => colour.toLowerCase() === word),
  );
}

/** A wire without its place in the file. */
function loomWire({ path: _path, own: _own, ...wire }: PlacedWire): LoomWire {
  return wire;
}

/** The words of a colour's name: green and yellow for `GNYE`. */
function nameWords(colour: string): string[] {
  return wireColourName(colour)?.split('-') ?? [];
}
