import { kindOf } from './kinds/registry.ts';
import { Notes } from './notes.ts';
import type { Channel, Prop } from './schema.ts';

/** A lint that uses only the wiring, and does not depend on other findings. */
type WiringLint = (notes: Notes) => void;

/** The parts of a prop that belong to the wiring, besides its channels; a sense may have a shunt in it. */
export const WIRING = [
  'boards',
  'rails',
  'connectors',
  'wires',
  'ambientC',
  'ampacity',
  'senses',
] as const;

/** Keys for what a channel does, not how it is wired: wiring lints do not use them. */
const NOT_WIRING: ReadonlySet<string> = new Set([
  'calibration',
  'limitsDeg',
  'marks',
  'speedDegS',
  'accelDegS2',
  'jerkDegS3',
]);

/** Whether wiring lints use this of a channel: what a lamp or a relay draws while parked, not a servo. */
export function isWiring(channel: Channel, key: string): boolean {
  return !(NOT_WIRING.has(key) || (key === 'park' && kindOf(channel).moves));
}

/** By the connectors of a prop: the last result of each computation, and its prop. */
const kept = new WeakMap<object, Map<unknown, { prop: Prop; result: unknown }>>();

/**
 * The result of `work`, or its result for the previous version if the wiring is still the same objects,
 * as it is after an edit of a mark, a limit or a servo's park position.
 */
function reused<T>({ prop, given }: Notes, key: unknown, work: () => T): T {
  if (!given.sound) return work();
  let known = kept.get(prop.connectors);
  if (!known) {
    known = new Map();
    kept.set(prop.connectors, known);
  }
  const last = known.get(key);
  const result = last && sameWiring(last.prop, prop) ? (last.result as T) : work();
  // The next version shares more with the later prop.
  known.set(key, { prop, result });
  return result;
}

/** Runs a lint of the wiring, or repeats its findings. */
export function lintWiring(notes: Notes, lint: WiringLint): void {
  const { prop, given } = notes;
  const remarks = reused(notes, lint, () => {
    const own = new Notes(prop, given);
    lint(own);
    return own.remarks;
  });
  notes.remarks.push(...remarks);
}

/** Computes something from the wiring alone, once for all versions that share it. */
export function fromWiring<T>(notes: Notes, work: (prop: Prop) => T): T {
  return reused(notes, work, () => work(notes.prop));
}

function sameWiring(a: Prop, b: Prop): boolean {
  if (WIRING.some((part) => a[part] !== b[part])) return false;
  if (a.channels === b.channels) return true;
  const [one, other] = [Object.entries(a.channels), Object.entries(b.channels)];
  return (
    one.length === other.length &&
    one.every(([name, channel], i) => {
      const [otherName, otherChannel] = other[i]!;
      return name === otherName && sameChannel(channel, otherChannel);
    })
  );
}

function sameChannel(a: Channel, b: Channel): boolean {
  if (a === b) return true;
  const [one, other] = [a as Record<string, unknown>, b as Record<string, unknown>];
  const keys = new Set([...Object.keys(one), ...Object.keys(other)]);
  return [...keys].every((key) => !isWiring(a, key) || one[key] === other[key]);
}
