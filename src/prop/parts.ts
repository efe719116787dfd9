import lights from '../../config/parts/lights.json' with { type: 'json' };
import loads from '../../config/parts/loads.json' with { type: 'json' };
import servos from '../../config/parts/servos.json' with { type: 'json' };
import type { Path } from './finding.ts';

/**
 * The library of parts: what is typical of a class of servo, light or load. A channel names one with
 * `part`, and every value of its own goes before the part's. The library is built into the program, so
 * that laptop and board use the same one, and what was worked out with another is known by the program.
 */
export interface Part {
  /** The kind of channel that it is for. */
  kind: string;
  about: string;
  /** Where its values come from. */
  source: string;
  /** The least and the most that its supply may have (V); absent where a resistor settles it. */
  supplyV?: readonly number[];
  /** Values as in the prop file; none that somebody's safety rests on, such as limits or calibration. */
  typical: Readonly<Record<string, unknown>>;
}

/** All parts by their names. */
export const PARTS: Readonly<Record<string, Part>> = { ...servos, ...loads, ...lights };
export const PART_NAMES = /* @__PURE__ */ Object.keys(PARTS) as [string, ...string[]];

/** The parts for a kind of channel. */
export function partsFor(kind: string): string[] {
  return PART_NAMES.filter((name) => PARTS[name]!.kind === kind);
}

type Data = Record<string, unknown>;

function isMap(value: unknown): value is Data {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** The part that a channel names and fits; undefined where it names none that does. */
function partOf(channel: unknown): Part | undefined {
  if (!isMap(channel) || typeof channel.part !== 'string') return undefined;
  const part = Object.hasOwn(PARTS, channel.part) ? PARTS[channel.part] : undefined;
  return part?.kind === channel.kind ? part : undefined;
}

/** What stays the same object is filled in once. */
const known = new WeakMap<object, Data>();

function filledIn(channel: Data, { typical }: Part): Data {
  let filled = known.get(channel);
  if (!filled) {
    filled = mergedWith(channel, typical);
    known.set(channel, filled);
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

/** Channels, as plain data, with what their parts say; the same object where none names a part. */
export function channelsWithParts<T>(channels: T): T {
  if (!isMap(channels)) return channels;
  const filled = Object.entries(channels).flatMap(([name, channel]): [string, Data][] => {
    const part = partOf(channel);
    return part ? [[name, filledIn(channel as Data, part)]] : [];
  });
  return filled.length === 0 ? channels : { ...channels, ...Object.fromEntries(filled) };
}

/** The data of a prop file with what the parts of its channels say; the same object where there is none. */
export function withParts(raw: unknown): unknown {
  if (!isMap(raw)) return raw;
  const channels = channelsWithParts(raw.channels);
  return channels === raw.channels ? raw : { ...raw, channels };
}

/** What a value owes to a part. */
interface Owed {
  part: string;
  /** The channel gives no value of its own here. */
  wholly: boolean;
  /** The keys below that come from the part, where the channel gives others. */
  keys: string[];
}

/** Whether the value at `path`, or some of it, comes from a part. @param raw the data as written */
export function owedToPart(raw: unknown, path: Path): Owed | undefined {
  const [section, name] = path;
  if (section !== 'channels' || path.length < 3 || !isMap(raw) || !isMap(raw.channels))
    return undefined;
  const channel = Object.hasOwn(raw.channels, name!) ? raw.channels[name!] : undefined;
  const part = partOf(channel);
  if (!part) return undefined;
  const named = (channel as Data).part as string;
  let own: unknown = channel;
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
