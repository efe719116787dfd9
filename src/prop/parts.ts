import lights from '../../config/parts/lights.json' with { type: 'json' };
import loads from '../../config/parts/loads.json' with { type: 'json' };
import servos from '../../config/parts/servos.json' with { type: 'json' };
import type { Path } from './finding.ts';

/**
 * The library of parts: typical values of a class of servo, light or load. A channel names one with
 * `part`; the channel's own values take precedence. The library is built into the program, so that laptop
 * and board use the same one, and a compiled form made with another library is not used.
 */
export interface Part {
  /** The kind of channel that it is for. */
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
export const PARTS: Readonly<Record<string, Part>> = { ...servos, ...loads, ...lights };
export const PART_NAMES = /* @__PURE__ */ Object.keys(PARTS) as [string, ...string[]];

/** The parts for a kind of channel. */
export function partsFor(kind: string): string[] {
  return PART_NAMES.filter((name) => PARTS[name]!.kind === kind);
}

type Data = Record<string, unknown>;

export function isMap(value: unknown): value is Data {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** The part that a channel names, if it is for the channel's kind. */
function partOf(channel: unknown): Part | undefined {
  if (!isMap(channel) || typeof channel.part !== 'string') return undefined;
  const part = Object.hasOwn(PARTS, channel.part) ? PARTS[channel.part] : undefined;
  return part?.kind === channel.kind ? part : undefined;
}

/** Channels that were filled in before, by object. */
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

/** Channels, as plain data, with the values of their parts; the same object if none names a part. */
export function channelsWithParts<T>(channels: T): T {
  if (!isMap(channels)) return channels;
  const filled = Object.entries(channels).flatMap(([name, channel]): [string, Data][] => {
    const part = partOf(channel);
    return part ? [[name, filledIn(channel as Data, part)]] : [];
  });
  return filled.length === 0 ? channels : { ...channels, ...Object.fromEntries(filled) };
}

/** The data of a prop file with the values of its channels' parts; the same object if there are none. */
export function withParts(raw: unknown): unknown {
  if (!isMap(raw)) return raw;
  const channels = channelsWithParts(raw.channels);
  return channels === raw.channels ? raw : { ...raw, channels };
}

/** What a value takes from a part. */
interface FromPart {
  part: string;
  /** The channel has no value of its own here. */
  wholly: boolean;
  /** Keys below it that come from the part, if the channel gives others. */
  keys: string[];
}

/** What the value at `path` takes from a part, if anything. @param raw the data as written */
export function valueFromPart(raw: unknown, path: Path): FromPart | undefined {
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
