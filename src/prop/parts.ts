import lights from '../../config/parts/lights.json' with { type: 'json' };
import loads from '../../config/parts/loads.json' with { type: 'json' };
import meters from '../../config/parts/meters.json' with { type: 'json' };
import servos from '../../config/parts/servos.json' with { type: 'json' };
import type { Path } from './finding.ts';

/**
 * The library of parts: typical values of a class of servo, light, load or meter. A channel or a board
 * names one with `part`; its own values take precedence. The library is built into the program, so that laptop
 * and board use the same one, and a compiled form made with another library is not used.
 */
export interface Part {
  /** The kind of channel, or the driver of a board, that it is for. */
  kind: string;
  about: string;
  /** Where its values come from. */
  source: string;
  /** The lowest and the highest supply voltage (V); absent where a resistor sets the current. */
  supplyV?: readonly number[];
  /** Values as in the prop file, but none that safety depends on, such as limits or calibration. */
  typical: Readonly<Record<string, unknown>>;
}

/** All parts by their names. */
export const PARTS: Readonly<Record<string, Part>> = { ...servos, ...loads, ...lights, ...meters };
export const PART_NAMES = /* @__PURE__ */ Object.keys(PARTS) as [string, ...string[]];

/** The parts for a kind of channel, or a driver. */
export function partsFor(kind: string): string[] {
  return PART_NAMES.filter((name) => PARTS[name]!.kind === kind);
}

type Data = Record<string, unknown>;

export function isMap(value: unknown): value is Data {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** The sections of a prop file whose entries may name a part. */
const SECTIONS = ['channels', 'boards'] as const;

/** The part that a channel or a board names, if it is for its kind or driver. */
function partOf(entry: unknown): Part | undefined {
  if (!isMap(entry) || typeof entry.part !== 'string') return undefined;
  const part = Object.hasOwn(PARTS, entry.part) ? PARTS[entry.part] : undefined;
  return part?.kind === (entry.kind ?? entry.driver) ? part : undefined;
}

/** Entries that were filled in before, by object. */
const known = new WeakMap<object, Data>();

function filledIn(entry: Data, { typical }: Part): Data {
  let filled = known.get(entry);
  if (!filled) {
    filled = mergedWith(entry, typical);
    known.set(entry, filled);
  }
  return filled;
}

function mergedWith(own: Data, typical: Readonly<Data>): Data {
  const all: Data = { ...own };
  for (const [key, value] of Object.entries(typical)) {
    const given = Object.hasOwn(own, key) ? own[key] : undefined;
    if (given === undefined) all[key] = structuredClone(value);
    else if (isMap(given) && isMap(value)) all[key] = mergedWith(given, value);
  }
  return all;
}

/** The entries of a section, as plain data, with the values of their parts; the same object if there are none. */
export function entriesWithParts<T>(section: string, entries: T): T {
  if (!SECTIONS.some((one) => one === section) || !isMap(entries)) return entries;
  const filled = Object.entries(entries).flatMap(([name, entry]): [string, Data][] => {
    const part = partOf(entry);
    return part ? [[name, filledIn(entry as Data, part)]] : [];
  });
  return filled.length === 0 ? entries : { ...entries, ...Object.fromEntries(filled) };
}

/** The data of a prop file with the values of its parts; the same object if there are none. */
export function withParts(raw: unknown): unknown {
  if (!isMap(raw)) return raw;
  let whole = raw;
  for (const section of SECTIONS) {
    const entries = entriesWithParts(section, raw[section]);
    if (entries !== raw[section]) whole = { ...whole, [section]: entries };
  }
  return whole;
}

/** What a value takes from a part. */
interface FromPart {
  part: string;
  /** The entry has no value of its own here. */
  wholly: boolean;
  /** Keys below it that come from the part, if the entry gives others. */
  keys: string[];
}

/** What the value at `path` takes from a part, if anything. @param raw the data as written */
export function valueFromPart(raw: unknown, path: Path): FromPart | undefined {
  const [section, name] = path;
  if (!SECTIONS.some((one) => one === section) || path.length < 3 || !isMap(raw)) return undefined;
  const entries = raw[section!];
  if (!isMap(entries)) return undefined;
  const entry = Object.hasOwn(entries, name!) ? entries[name!] : undefined;
  const part = partOf(entry);
  if (!part) return undefined;
  const named = (entry as Data).part as string;
  let own: unknown = entry;
  let typical: unknown = part.typical;
  for (const key of path.slice(2)) {
    const below = Array.isArray(typical) || isMap(typical);
    if (!below || !Object.hasOwn(typical as object, key)) return undefined;
    typical = (typical as Data)[key];
    own = isMap(own) || Array.isArray(own) ? (own as Data)[key as string] : undefined;
  }
  if (own === undefined) return { part: named, wholly: true, keys: [] };
  if (!isMap(own) || !isMap(typical)) return undefined;
  const given = own;
  const keys = Object.keys(typical).filter((key) => !Object.hasOwn(given, key));
  return keys.length > 0 ? { part: named, wholly: false, keys } : undefined;
}
