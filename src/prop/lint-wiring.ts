import type { Remark } from './finding.ts';
import { Notes } from './notes.ts';
import type { Channel, Prop } from './schema.ts';

/** A lint that looks at nothing but the wiring, and says nothing that rests upon other remarks. */
type WiringLint = (notes: Notes) => void;

/** The parts of a prop that wiring is made of, apart from its channels. */
export const WIRING = ['boards', 'rails', 'connectors', 'wires', 'ambientC', 'ampacity'] as const;

/** What a channel does, not how it is wired: no lint of the wiring looks at it. */
export const NOT_WIRING: ReadonlySet<string> = new Set([
  'calibration',
  'limitsDeg',
  'marks',
  'speedDegS',
  'accelDegS2',
  'jerkDegS3',
]);

/** For the connectors of a prop: what each lint said last, and of which prop. */
const kept = new WeakMap<object, Map<WiringLint, { prop: Prop; remarks: readonly Remark[] }>>();

/**
 * Runs a lint, or repeats what it said of the version before, where the wiring is the same objects
 * still. An edit of a mark or a limit leaves them so.
 */
export function lintWiring(notes: Notes, lint: WiringLint): void {
  const { prop, given } = notes;
  if (!given.sound) {
    lint(notes);
    return;
  }
  let said = kept.get(prop.connectors);
  if (!said) {
    said = new Map();
    kept.set(prop.connectors, said);
  }
  let last = said.get(lint);
  if (!last || !sameWiring(last.prop, prop)) {
    const own = new Notes(prop, given);
    lint(own);
    last = { prop, remarks: own.remarks };
  }
  // The later prop has more in common with the next.
  said.set(lint, { prop, remarks: last.remarks });
  notes.remarks.push(...last.remarks);
}

/** For the connectors of a prop: what was worked out last, and of which prop. */
const figures = new WeakMap<object, Map<unknown, { prop: Prop; figure: unknown }>>();

/** Works something out from the wiring alone, or gives what it was in the version before, as `lintWiring`. */
export function fromWiring<T>({ prop, given }: Notes, work: (prop: Prop) => T): T {
  if (!given.sound) return work(prop);
  let known = figures.get(prop.connectors);
  if (!known) {
    known = new Map();
    figures.set(prop.connectors, known);
  }
  const last = known.get(work);
  const figure = last && sameWiring(last.prop, prop) ? (last.figure as T) : work(prop);
  known.set(work, { prop, figure });
  return figure;
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
  return [...keys].every((key) => NOT_WIRING.has(key) || one[key] === other[key]);
}
