import { wireColourName } from '../sums/wire-colours.ts';
import { loadRailOf } from './kinds/contact.ts';
import { Loom, type LoomWire, type PlacedWire } from './loom.ts';
import { splitEnd } from './loom-words.ts';
import { type MeasuringPart, measuringPartsOf } from './measuring-path.ts';
import type { Prop } from './schema.ts';

/**
 * The wires that a text matches, trunk wires included: by part of a label, channel, rail or end, by
 * the start of a role, of a word of what a connector is for or of its place, by a colour's whole code or name, by
 * `GPIO 17`, by `pin 11` of the header or board, and by `wire 12`. Every word of the text must match;
 * an empty text finds all wires.
 */
export function findWires(prop: Prop, text: string): LoomWire[] {
  const asked = askedFor(text);
  const loom = new Loom(prop);
  return loom.wires.filter((wire) => matches(loom, wire, asked)).map(loomWire);
}

/**
 * The shunts and dividers that go with a search: those on the way to the channels of the wires that it found,
 * or on their rails, and those whose sense, board or kind has every word of the text.
 */
function findParts(prop: Prop, text: string, wires: readonly LoomWire[]): MeasuringPart[] {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  const channels = new Set<string>();
  const rails = new Set<string | undefined>();
  for (const { channel, rail } of wires) {
    if (rail !== undefined) rails.add(rail);
    if (channel === undefined || !Object.hasOwn(prop.channels, channel)) continue;
    channels.add(channel);
    rails.add(loadRailOf(prop.channels[channel]!));
  }
  return measuringPartsOf(prop).filter(({ sense, rail, channel, part }) => {
    const isOnWay =
      channel === undefined ? rail !== undefined && rails.has(rail) : channels.has(channel);
    const mine = [sense, rail, channel, part].join(' ').toLowerCase();
    return isOnWay || words.every((word) => mine.includes(word));
  });
}

/** Both, as clients get them: parts are left out where there are none. */
export function foundBy(prop: Prop, text: string): { wires: LoomWire[]; parts?: MeasuringPart[] } {
  const wires = findWires(prop, text);
  const parts = findParts(prop, text, wires);
  return { wires, ...(parts.length > 0 && { parts }) };
}

/** What is looked for: numbers of a kind, and words. */
interface Asked {
  gpios: number[];
  pins: string[];
  wires: number[];
  words: string[];
}

function askedFor(text: string): Asked {
  const asked: Asked = { gpios: [], pins: [], wires: [], words: [] };
  const rest = text
    .toLowerCase()
    .replace(/\bgpio[\s_-]*(\d+)\b/g, (_, n) => {
      asked.gpios.push(Number(n));
      return ' ';
    })
    .replace(/\b(?:header\s+)?pin[\s_-]*(\d+)\b/g, (_, n) => {
      asked.pins.push(String(Number(n)));
      return ' ';
    })
    .replace(/\bwire[\s_-]*(\d+)\b/g, (_, n) => {
      asked.wires.push(Number(n));
      return ' ';
    });
  asked.words = rest.split(/\s+/).filter(Boolean);
  return asked;
}

function matches(loom: Loom, wire: PlacedWire, { gpios, pins, wires, words }: Asked): boolean {
  const { label, channel, rail, place, cores } = wire;
  const ends = cores.flatMap(({ from, to }) => [from, to]);
  const onBoards = ends.flatMap((end) => loom.boardPin(end) ?? []);
  const cavities = ends
    .map(splitEnd)
    .filter(({ connector }) => loom.boards.has(connector))
    .map(({ cavity }) => String(Number(cavity)));
  const number = Number(/\d+/.exec(label)?.[0] ?? Number.NaN);
  if (!gpios.every((gpio) => onBoards.some(({ pin }) => pin === gpio))) return false;
  if (!pins.every((pin) => cavities.includes(pin))) return false;
  if (!wires.every((one) => one === number)) return false;
  const parts = [label, channel ?? '', rail ?? '', ...ends];
  const starts = [
    ...cores.map(({ role }) => role),
    ...purposeWords(loom, wire, ends),
    ...(place?.split(/\s+/) ?? []),
  ];
  const colours = cores.flatMap(({ colour }) => [colour, ...nameWords(colour)]);
  return words.every(
    (word) =>
      parts.some((part) => part.toLowerCase().includes(word)) ||
      starts.some((start) => start.toLowerCase().startsWith(word)) ||
      colours.some((colour) => colour.toLowerCase() === word),
  );
}

/** What the wire is for: the words of its channel and of the connectors that it alone goes to. */
function purposeWords(
  { prop, boards }: Loom,
  { channel = '' }: PlacedWire,
  ends: readonly string[],
): string[] {
  const names = ends.flatMap((end) => {
    const { connector } = splitEnd(end);
    const spec = Object.hasOwn(prop.connectors, connector) ? prop.connectors[connector] : undefined;
    // A block that many share, and the board, are for none of them.
    return spec?.name && !spec.bridged?.length && !boards.has(connector) ? [spec.name] : [];
  });
  return [channel.replaceAll('_', ' '), ...names].flatMap((name) => name.split(/\s+/));
}

/** A wire without its place in the file. */
function loomWire({ path: _path, own: _own, ...wire }: PlacedWire): LoomWire {
  return wire;
}

/** The words of a colour's name: `GNYE` is green and yellow. */
function nameWords(colour: string): string[] {
  return wireColourName(colour)?.split('-') ?? [];
}
