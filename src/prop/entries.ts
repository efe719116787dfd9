import { isMap, isScalar, visit, type YAMLMap } from 'yaml';
import { applyEdits, type Edit, newlineOf, sameData } from './edit-text.ts';
import type { Path } from './finding.ts';
import { MAX_BYTES, type PropText, placer, readText } from './text.ts';

/**
 * Edits of single entries (e.g. one channel) of a prop file in block style: only the lines of the entry
 * are parsed. In a block map, an entry ends where the next key of the same indentation begins (YAML
 * 1.2.2, section 8.2.2), so an entry without aliases means the same by itself.
 */

/** Maps whose entries are checked one by one, by the schema as well as here. */
const SECTIONS = ['channels', 'cues', 'poses'] as const;
type Section = (typeof SECTIONS)[number];

/** Entries that have changed, as plain data. */
export type Entries = Map<Section, Record<string, unknown>>;

interface EditedEntries {
  source: PropText;
  entries: Entries;
}

/** Whole lines of a text: one entry, or one and those that were added after it. */
interface Slice {
  section: Section;
  names: readonly string[];
  from: number;
  /** Exclusive. */
  end: number;
  /** The same slice in the text that was parsed as a whole. */
  first: { from: number; end: number };
  /** The parsed slice, once it differs from that. */
  read: PropText | undefined;
}

/** A text that differs in some slices from one that was parsed as a whole. */
interface Sliced {
  whole: PropText;
  /** In the order of the text. */
  slices: readonly Slice[];
}

const NO_ALIASES: PropText['aliases'] = new Map();
const known = new WeakMap<PropText, Sliced>();

/**
 * Does what `applyEdits` does, for edits within entries that can be edited by themselves.
 * @returns `source` itself in it when nothing changes; undefined when this shortcut cannot be used, or an
 * edit cannot be made at all
 */
export function applyEntryEdits(
  source: PropText,
  edits: readonly Edit[],
): EditedEntries | undefined {
  const sliced = slicedOf(source);
  if (!sliced) return undefined;
  const wanted = new Map<Slice, Edit[]>();
  for (const edit of edits) {
    const slice = sliceFor(sliced, edit);
    if (!slice) return undefined;
    const others = wanted.get(slice);
    if (others) others.push(edit);
    else wanted.set(slice, [edit]);
  }
  const newline = newlineOf(source.text);
  const read = new Map<Slice, PropText>();
  const entries: Entries = new Map();
  let { raw } = source as { raw: Record<string, Record<string, unknown>> };
  for (const [slice, some] of wanted) {
    const one = editSlice(source, slice, some, newline);
    if (!one) return undefined;
    if (one.after === one.before) continue;
    read.set(slice, one.after);
    const { section } = slice;
    const all = { ...entries.get(section), ...one.changed };
    entries.set(section, all);
    raw = { ...raw, [section]: { ...raw[section], ...one.changed } };
  }
  if (read.size === 0) return { source, entries };
  const next = put(source, sliced, read, raw);
  return Buffer.byteLength(next.text) > MAX_BYTES ? undefined : { source: next, entries };
}

/** The slice that an edit belongs to; a new entry goes after the last one of its section. */
function sliceFor({ slices }: Sliced, edit: Edit): Slice | undefined {
  const { path, value } = edit;
  const [section, name] = path;
  // Names and places are about more than one entry.
  if (edit.rename !== undefined || edit.place !== undefined) return undefined;
  if (typeof name !== 'string' || (path.length === 2 && value === undefined)) return undefined;
  const own = slices.find((one) => one.section === section && one.names.includes(name));
  if (own || value === undefined) return own;
  return slices.findLast((one) => one.section === section);
}

function editSlice(source: PropText, slice: Slice, edits: readonly Edit[], newline: string) {
  const before = slice.read ?? readText(source.text.slice(slice.from, slice.end));
  const isLast = slice.end === source.text.length;
  const section = (source.raw as Record<Section, Record<string, unknown>>)[slice.section];
  const present = Object.fromEntries(slice.names.map((name) => [name, section[name]]));
  if (!standsAlone(before, isLast) || !sameData(before.raw, present)) return undefined;
  let after: PropText;
  try {
    const within = edits.map(({ path, value }) => ({ path: path.slice(1), value }));
    after = applyEdits(before, within, newline);
  } catch (error) {
    if (error instanceof RangeError) return undefined; // `applyEdits` says why
    throw error;
  }
  const names = namesIn(after);
  const inOrder = slice.names.every((name, i) => names[i] === name);
  if (!standsAlone(after, isLast) || !inOrder || indentOf(after) !== indentOf(before))
    return undefined;
  const changed: Record<string, unknown> = {};
  for (const name of names) {
    const data = (after.raw as Record<string, unknown>)[name];
    const was = Object.hasOwn(section, name) ? section[name] : undefined;
    if (!sameInOrder(was, data)) changed[name] = sharing(was, data);
  }
  return { before, after, changed };
}

/** Whether these lines mean the same by themselves as between others of the same indentation. */
function standsAlone(lines: PropText, isLast: boolean): boolean {
  const { text, document, findings, aliases } = lines;
  if (findings.length > 0 || aliases.size > 0 || !isBlockMap(document?.contents)) return false;
  // Markers of document ends, which begin a line.
  if (/^(---|\.\.\.)/m.test(text) || (!isLast && !text.endsWith('\n'))) return false;
  const { items } = document!.contents as YAMLMap;
  const indents = items.map(({ key }) => indentAt(text, key));
  if (startOf(items[0]!.key) !== indents[0]) return false;
  if (indents.some((indent) => !indent || indent !== indents[0])) return false;
  let plain = true;
  visit(document!, {
    Node: (_, node) => {
      if (!('anchor' in node && node.anchor) && !('tag' in node && node.tag)) return undefined;
      plain = false;
      return visit.BREAK;
    },
  });
  return plain;
}

function isBlockMap(node: unknown): node is YAMLMap {
  return isMap(node) && !node.flow && node.items.length > 0;
}

/** The indentation of a key that has only spaces before it; undefined for any other key. */
function indentAt(text: string, key: unknown): number | undefined {
  if (!isScalar(key) || !key.range) return undefined;
  const [at] = key.range;
  const from = lineStart(text, at);
  return /^ *$/.test(text.slice(from, at)) ? at - from : undefined;
}

function indentOf({ text, document }: PropText): number | undefined {
  return indentAt(text, (document!.contents as YAMLMap).items[0]?.key);
}

function namesIn({ raw }: PropText): string[] {
  return Object.keys(raw as object);
}

function lineStart(text: string, at: number): number {
  return text.lastIndexOf('\n', at - 1) + 1;
}

// --- slices ---------------------------------------------------------------------------------------

function slicedOf(source: PropText): Sliced | undefined {
  let sliced = known.get(source);
  if (!sliced) {
    sliced = { whole: source, slices: slicesOf(source) };
    known.set(source, sliced);
  }
  return sliced.slices.length > 0 ? sliced : undefined;
}

function slicesOf({ text, document, raw, findings, aliases }: PropText): Slice[] {
  const root = document?.contents;
  if (raw === undefined || findings.length > 0 || aliases.size > 0 || !isBlockMap(root)) return [];
  const slices: Slice[] = [];
  for (const [i, { key, value }] of root.items.entries()) {
    const section = SECTIONS.find((one) => isScalar(key) && key.value === one);
    if (!section || !isBlockMap(value)) continue;
    const next = root.items[i + 1]?.key;
    const [start, stop] = [indentAt(text, key), next ? indentAt(text, next) : 0];
    const indents = value.items.map((pair) => indentAt(text, pair.key));
    const even = indents.every((indent) => indent && indent === indents[0]);
    if (start === undefined || stop === undefined || !even) continue;
    const starts = value.items.map((pair) => lineStart(text, startOf(pair.key)));
    const ends = [...starts.slice(1), next ? lineStart(text, startOf(next)) : text.length];
    for (const [j, pair] of value.items.entries()) {
      const at = { from: starts[j]!, end: ends[j]! };
      const names = [isScalar(pair.key) ? String(pair.key.value) : ''];
      slices.push({ section, names, ...at, first: at, read: undefined });
    }
  }
  return slices;
}

function startOf(key: unknown): number {
  return isScalar(key) ? (key.range?.[0] ?? 0) : 0;
}

/** The text with slices replaced; it is parsed as a whole only on demand. */
function put(
  source: PropText,
  { whole, slices }: Sliced,
  read: ReadonlyMap<Slice, PropText>,
  raw: unknown,
): PropText {
  const parts: string[] = [];
  const after: Slice[] = [];
  let shift = 0;
  let end = 0;
  for (const slice of slices) {
    const from = slice.from + shift;
    const fresh = read.get(slice);
    if (fresh) {
      parts.push(source.text.slice(end, slice.from), fresh.text);
      end = slice.end;
      shift += fresh.text.length - (slice.end - slice.from);
    }
    const names = fresh ? namesIn(fresh) : slice.names;
    after.push({ ...slice, names, from, end: slice.end + shift, read: fresh ?? slice.read });
  }
  parts.push(source.text.slice(end));
  const sliced = { whole, slices: after };
  const next = new SlicedText(parts.join(''), raw, sliced);
  known.set(next, sliced);
  return next;
}

class SlicedText implements PropText {
  readonly text: string;
  readonly raw: unknown;
  readonly findings = [];
  readonly aliases = NO_ALIASES;
  readonly place: PropText['place'];
  readonly #sliced: Sliced;
  /** Slices that differ from the text that was parsed as a whole. */
  readonly #changed: readonly Slice[];
  #parsed: PropText | undefined;

  constructor(text: string, raw: unknown, sliced: Sliced) {
    this.text = text;
    this.raw = raw;
    this.#sliced = sliced;
    this.#changed = sliced.slices.filter(({ read }) => read);
    this.place = placer(text, (path, atKey) => this.offset(path, atKey));
  }

  get document(): PropText['document'] {
    this.#parsed ??= readText(this.text);
    return this.#parsed.document;
  }

  offset(path: Path, atKey: boolean): number {
    const [section, name] = path;
    const own = this.#changed.find(
      (slice) => slice.section === section && slice.names.includes(String(name)),
    );
    if (own) return own.from + own.read!.offset(path.slice(1), atKey);
    const at = this.#sliced.whole.offset(path, atKey);
    const before = this.#changed.findLast(({ first }) => first.end <= at);
    return before ? at + before.end - before.first.end : at;
  }
}

/** `after`, but every part that equals its part of `before` is the same object. */
export function sharing(before: unknown, after: unknown): unknown {
  if (Object.is(before, after)) return before;
  if (typeof before !== 'object' || typeof after !== 'object' || !before || !after) return after;
  if (sameInOrder(before, after)) return before;
  if (Array.isArray(before) && Array.isArray(after))
    return after.map((item, i) => (i < before.length ? sharing(before[i], item) : item));
  if (Array.isArray(before) || Array.isArray(after)) return after;
  const was = before as Record<string, unknown>;
  return Object.fromEntries(
    Object.entries(after).map(([key, item]) => [
      key,
      Object.hasOwn(was, key) ? sharing(was[key], item) : item,
    ]),
  );
}

/** Whether two pieces of plain data are equal, including the order of keys. */
function sameInOrder(a: unknown, b: unknown): boolean {
  return JSON.stringify(a) === JSON.stringify(b) && sameData(a, b);
}
