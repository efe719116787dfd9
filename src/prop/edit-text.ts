import {
  isAlias,
  isMap,
  isScalar,
  isSeq,
  type Node,
  type Pair,
  Scalar,
  type YAMLMap,
  type YAMLSeq,
} from 'yaml';
import { type Path, pathText } from './finding.ts';
import { valueAt } from './schema-remarks.ts';
import { type PropText, readText } from './text.ts';

/**
 * Edits of a YAML text that change only the characters of the values concerned, so that comments, order,
 * quotes and spacing stay as they are.
 */

export interface Edit {
  path: (string | number)[];
  /** Plain data; undefined deletes: a key with its value, or an item of a list. */
  value?: unknown;
  /** In place of a value: what the key at the end of `path` is called from then on. All else stays. */
  rename?: string | undefined;
  /**
   * In place of a value: the place (from 0) among its siblings that the entry or item has from then on. The
   * comment lines right above it go with it.
   */
  place?: number | undefined;
}

/** A place that cannot be edited by itself: the message says why and what to do, without the file's name. */
export class NotAlone extends RangeError {
  /** The line of the place, from 1. */
  readonly line: number;
  readonly path: Path;

  constructor(path: Path, line: number, why: string) {
    super(`${pathText(path)} ${why}`);
    this.path = path;
    this.line = line;
  }
}

/**
 * The text with all edits made, in their order, and parsed. The parse also proves that the text says what
 * was asked for, and is unchanged everywhere else. Missing maps on the way to a path are added. Edits
 * that conflict are made one by one, with a parse for each.
 * @param source valid YAML, e.g. of a prop file without findings.
 * @param newline the line ending of new lines
 * @returns `source` itself when nothing changes.
 * @throws NotAlone (a RangeError) when a place cannot be edited by itself, e.g. because an alias shares
 * it.
 */
export function applyEdits(
  source: PropText,
  edits: readonly Edit[],
  newline = newlineOf(source.text),
): PropText {
  if (source.mended)
    throw new RangeError('the file has errors and cannot be edited; fix them first');
  const { cuts, wanted, clash } = plan(source, edits, newline);
  if (wanted === source.raw) return source;
  if (!clash) {
    const next = put(source, cuts);
    if (says(next, wanted) && (!edits.some(isPlacing) || sameOrder(next.raw, wanted))) return next;
  }
  if (edits.length === 1) throw notAlone(source, edits[0]!.path);
  // The first edit that cannot be made says why.
  return edits.reduce((text, edit) => applyEdits(text, [edit], newline), source);
}

/** The line ending of a text. */
export function newlineOf(text: string): string {
  return text.includes('\r\n') ? '\r\n' : '\n';
}

/** The cuts for all edits, each as if it were the only one, and the data that must result. */
function plan(source: PropText, edits: readonly Edit[], newline: string) {
  const cuts: Cut[] = [];
  let wanted = source.raw;
  let clash = false;
  for (const edit of edits) {
    const { path, rename, place } = edit;
    const value = edit.value === undefined ? undefined : JSON.parse(JSON.stringify(edit.value));
    const before = wanted;
    if (rename !== undefined) wanted = renamed(wanted, path, rename);
    else if (place !== undefined) wanted = placed(wanted, path, place);
    else if (!sameData(valueAt(wanted, path), value)) wanted = changed(wanted, path, value);
    if (wanted === before) continue;
    // Where others go depends on where it has gone.
    if (place !== undefined && edits.length > 1) clash = true;
    try {
      const all = { path, value, rename, place };
      cuts.push(...cutsFor(source.text, source.document?.contents, all, newline));
    } catch (error) {
      if (!(error instanceof Stuck)) throw error;
      clash = true; // it may depend on one of the others
    }
  }
  const merged = inOneCut(cuts);
  merged.sort((a, b) => b.start - a.start);
  if (edits.length > 1) clash ||= merged.some(({ end }, i) => i > 0 && end >= merged[i - 1]!.start);
  return { cuts: merged, wanted, clash };
}

/** Additions at one place go there one after the other. */
function inOneCut(cuts: readonly Cut[]): Cut[] {
  const additions = new Map<number, Cut>();
  const merged: Cut[] = [];
  for (const cut of cuts) {
    const known = cut.start === cut.end ? additions.get(cut.start) : undefined;
    if (known) {
      known.put += cut.put;
      continue;
    }
    const own = { ...cut };
    merged.push(own);
    if (cut.start === cut.end) additions.set(cut.start, own);
  }
  return merged;
}

/** @param cuts the last one of the text first */
function put(source: PropText, cuts: readonly Cut[]): PropText {
  if (cuts.length === 0) return source;
  let result = source.text;
  for (const { start, end, put } of cuts) result = result.slice(0, start) + put + result.slice(end);
  return readText(result);
}

function says({ raw, findings }: PropText, wanted: unknown): boolean {
  return !findings.some(({ severity }) => severity === 'error') && sameData(raw, wanted);
}

/** Whether two pieces of plain data are equal, ignoring the order of keys. */
export function sameData(a: unknown, b: unknown): boolean {
  if (Object.is(a, b)) return true;
  if (typeof a !== 'object' || typeof b !== 'object' || a === null || b === null) return false;
  if (Array.isArray(a) || Array.isArray(b)) {
    if (!Array.isArray(a) || !Array.isArray(b) || a.length !== b.length) return false;
    for (let i = 0; i < a.length; i++) if (!sameData(a[i], b[i])) return false;
    return true;
  }
  const [one, other] = [a as Record<string, unknown>, b as Record<string, unknown>];
  const keys = Object.keys(one);
  if (keys.length !== Object.keys(other).length) return false;
  for (const key of keys)
    if (!Object.hasOwn(other, key) || !sameData(one[key], other[key])) return false;
  return true;
}

// --- why a place cannot be edited alone -----------------------------------------------------------

function notAlone(source: PropText, path: Path): NotAlone {
  const lineOf = (at: Path) =>
    source.place({ severity: 'error', path: at, wrong: '', right: '' }).line;
  let node: unknown = source.document?.contents;
  for (let depth = 0; ; depth++) {
    const shared = sharedWith(source, node);
    if (shared) {
      const { name, anchor, other } = shared;
      const otherPath = placeOf(source, other);
      return new NotAlone(
        path,
        lineOf(isAlias(node) ? path.slice(0, depth) : path),
        `is shared: *${name} (anchor &${name} at line ${lineOf(placeOf(source, anchor))}) is used by ${pathText(otherPath)} at line ${lineOf(otherPath)} too; write the values out in one of them`,
      );
    }
    const key = path[depth];
    if (key === undefined) break;
    if (isMap(node)) node = pairOf(node, key)?.value;
    else if (isSeq(node) && typeof key === 'number') node = node.items[key];
    else break;
  }
  return new NotAlone(path, lineOf(path), 'cannot be changed alone; edit the file by hand');
}

/** What else uses a node, through an alias. */
function sharedWith({ aliases }: PropText, node: unknown) {
  const anchor = isAlias(node) ? aliases.get(node) : (node as Node | undefined);
  if (!anchor || !('anchor' in anchor) || anchor.anchor === undefined) return undefined;
  const users = [...aliases].filter(([alias, of]) => of === anchor && alias !== node);
  const other = users[0]?.[0] ?? (isAlias(node) ? anchor : undefined);
  return other && { name: anchor.anchor, anchor, other };
}

/** The path of a node in the document. */
function placeOf({ document }: PropText, wanted: Node): Path {
  const path: (string | number)[] = [];
  const search = (node: unknown): boolean => {
    if (node === wanted) return true;
    const within = (key: string | number, child: unknown) => {
      path.push(key);
      if (search(child)) return true;
      path.pop();
      return false;
    };
    if (isMap(node))
      return node.items.some(({ key, value }) => within(String((key as Scalar).value), value));
    return isSeq(node) && node.items.some((item, i) => within(i, item));
  };
  search(document?.contents);
  return path;
}

// --- cuts -----------------------------------------------------------------------------------------

/** `end` is exclusive; `put` replaces what was there. */
interface Cut {
  start: number;
  end: number;
  put: string;
}

/** This place cannot be edited. */
class Stuck extends Error {}

function cutsFor(text: string, root: unknown, edit: Edit, newline: string): Cut[] {
  const { path, value, rename, place } = edit;
  let node = root;
  for (const [i, key] of path.entries()) {
    const rest = path.slice(i + 1);
    if (rest.length === 0 && place !== undefined) return reorder(text, node, key, place, newline);
    if (rest.length === 0 && rename !== undefined) return renameKey(text, node, key, rename);
    if (isSeq(node) && key === node.items.length && rest.length === 0 && value !== undefined)
      return append(text, node, value, newline);
    if (isSeq(node) && typeof key === 'number' && key < node.items.length) {
      const item = node.items[key];
      if (rest.length === 0)
        return value === undefined ? removeItem(text, node, key) : replace(text, item, value);
      node = item;
      continue;
    }
    if (!isMap(node)) return fail();
    const pair = pairOf(node, key);
    // A rename or another place is about what is there.
    if (!pair && (rename !== undefined || place !== undefined)) return fail();
    if (value === undefined && !pair) return [];
    if (!pair) return insert(text, node, String(key), nest(rest, value), newline);
    if (rest.length === 0 && value === undefined) return remove(text, node, pair);
    if (rest.length === 0 || isEmpty(pair.value)) {
      if (value === undefined) return [];
      const nested = nest(rest, value);
      if (!isBlank(pair.value)) return replace(text, pair.value, nested);
      const at = afterColon(text, pair);
      return [{ start: at, end: at, put: ` ${flow(nested)}` }];
    }
    node = pair.value;
  }
  return fail();
}

function pairOf(map: YAMLMap, key: string | number): Pair | undefined {
  return map.items.find((pair) => String((pair.key as Scalar).value) === String(key));
}

function fail(): never {
  throw new Stuck();
}

/** `value` inside one map for every key of `path`. */
function nest(path: Path, value: unknown): unknown {
  return path.reduceRight((inner, key) => {
    if (typeof key === 'number') return fail();
    return { [key]: inner };
  }, value);
}

/** A copy of `root` with `value` at `path`. */
export function changed(root: unknown, path: Path, value: unknown): unknown {
  const [key, ...rest] = path;
  if (key === undefined) return value;
  const copy: Record<string | number, unknown> = Array.isArray(root)
    ? ([...root] as unknown as Record<number, unknown>)
    : { ...(root as object) };
  const child = changed(copy[key] ?? undefined, rest, value);
  if (child === undefined && Array.isArray(copy)) copy.splice(Number(key), 1);
  else if (child === undefined) delete copy[key];
  else copy[key] = child;
  return copy;
}

/** A copy of `root` with the key at the end of `path` called `name`, in its place. */
function renamed(root: unknown, path: Path, name: string): unknown {
  const key = path.at(-1)!;
  const map = valueAt(root, path.slice(0, -1));
  if (key === name) return root;
  if (typeof map !== 'object' || map === null || Array.isArray(map) || !Object.hasOwn(map, key))
    throw new RangeError(`${pathText(path)} cannot get another name: it is not there`);
  if (Object.hasOwn(map, name))
    throw new RangeError(
      `${pathText(path)} cannot be called ${name}: there is one already; give another name`,
    );
  const entries = Object.entries(map).map(([one, value]) => [one === key ? name : one, value]);
  return changed(root, path.slice(0, -1), Object.fromEntries(entries));
}

/** A copy of `root` with the entry or item at `path` at another place among its siblings. */
function placed(root: unknown, path: Path, place: number): unknown {
  const parentPath = path.slice(0, -1);
  const parent = valueAt(root, parentPath);
  const isList = Array.isArray(parent);
  const entries: [string | number, unknown][] = isList
    ? [...parent.entries()]
    : Object.entries((parent ?? {}) as object);
  const at = entries.findIndex(([key]) => key === path.at(-1));
  if (at < 0 || place < 0 || place >= entries.length)
    throw new RangeError(`${pathText(path)} cannot go to place ${place}: there is no such place`);
  if (at === place) return root;
  const [moving] = entries.splice(at, 1);
  entries.splice(place, 0, moving!);
  return changed(
    root,
    parentPath,
    isList ? entries.map(([, item]) => item) : Object.fromEntries(entries),
  );
}

function isPlacing({ place }: Edit): boolean {
  return place !== undefined;
}

function sameOrder(a: unknown, b: unknown): boolean {
  return JSON.stringify(a) === JSON.stringify(b);
}

function isEmpty(node: unknown): boolean {
  return node === null || (isScalar(node) && node.value === null);
}

/** There is nothing there, not even `null`. */
function isBlank(node: unknown): boolean {
  return (
    node === null ||
    (isScalar(node) && node.range?.[0] === node.range?.[1] && !node.type?.startsWith('QUOTE'))
  );
}

function replace(text: string, node: unknown, value: unknown): Cut[] {
  if (isAlias(node)) return fail();
  if (isSeq(node) && Array.isArray(value) && value.length === node.items.length)
    return node.items.flatMap((item, i) => {
      const same = isScalar(item) && item.value === value[i];
      return same ? [] : replace(text, item, value[i]);
    });
  const start = (node as Scalar).range![0];
  const quoted = isScalar(node) ? node.type : undefined;
  return [{ start, end: contentEnd(text, node), put: flow(value, quoted) }];
}

function insert(text: string, map: YAMLMap, key: string, value: unknown, newline: string): Cut[] {
  const last = map.items.at(-1);
  const pair = `${flow(key)}: ${flow(value)}`;
  if (!last) return [{ start: map.range![0], end: map.range![1], put: `{ ${pair} }` }];
  const end = pairEnd(text, last);
  if (map.flow) return [{ start: end, end, put: `, ${pair}` }];
  const firstKey = (map.items[0]!.key as Scalar).range![0];
  const indent = firstKey - (text.lastIndexOf('\n', firstKey - 1) + 1);
  const at = lineEnd(text, end);
  return [{ start: at, end: at, put: newline + pairLines(key, value, indent).join(newline) }];
}

/** A new item behind the last one of a list. */
function append(text: string, list: YAMLSeq, value: unknown, newline: string): Cut[] {
  const last = list.items.at(-1);
  if (last === undefined)
    return [{ start: list.range![0], end: list.range![1], put: `[${flow(value)}]` }];
  const end = contentEnd(text, last);
  if (list.flow) return [{ start: end, end, put: `, ${flow(value)}` }];
  const first = list.range![0];
  const indent = first - (text.lastIndexOf('\n', first - 1) + 1);
  const at = lineEnd(text, end);
  return [{ start: at, end: at, put: newline + itemLines(value, indent).join(newline) }];
}

function remove(text: string, map: YAMLMap, pair: Pair): Cut[] {
  const start = (pair.key as Scalar).range![0];
  const end = pairEnd(text, pair);
  const i = map.items.indexOf(pair);
  if (map.items.length === 1)
    return [
      map.flow
        ? { start: map.range![0], end: map.range![1], put: '{}' }
        : { start, end, put: '{}' },
    ];
  if (map.flow)
    return removeInFlow(
      text,
      map.items.map((one) => [startOf(one.key), pairEnd(text, one)]),
      i,
    );
  const lineStart = text.lastIndexOf('\n', start - 1) + 1;
  return [{ start: lineStart, end: nextLine(text, end), put: '' }];
}

/** One of several within brackets, with the comma beside it; a comment there stays. */
function removeInFlow(
  text: string,
  spans: readonly (readonly [start: number, end: number])[],
  at: number,
): Cut[] {
  const [start, end] = spans[at]!;
  const [from, to] = at === 0 ? [start, spans[1]![0]] : [spans[at - 1]![1], end];
  const beside = at === 0 ? text.slice(end, to) : text.slice(from, start);
  if (!beside.includes('#')) return [{ start: from, end: to, put: '' }];
  const comma = /^[ \t]*,/.exec(text.slice(end))?.[0].length ?? 0;
  return [{ start, end: end + comma, put: '' }];
}

/** An item of a list; the comments above it stay. */
function removeItem(text: string, list: YAMLSeq, at: number): Cut[] {
  const item = list.items[at];
  const [start, end] = [startOf(item), contentEnd(text, item)];
  if (list.items.length === 1)
    return [{ start: list.range![0], end: list.flow ? list.range![1] : end, put: '[]' }];
  if (list.flow)
    return removeInFlow(
      text,
      list.items.map((one) => [startOf(one), contentEnd(text, one)]),
      at,
    );
  const from = text.lastIndexOf('\n', start - 1) + 1;
  if (!/^ *-[ \t]+$/.test(text.slice(from, start))) return fail();
  return [{ start: from, end: nextLine(text, end), put: '' }];
}

/** The name of a key alone. */
function renameKey(text: string, map: unknown, key: string | number, name: string): Cut[] {
  const pair = isMap(map) ? pairOf(map, key) : undefined;
  if (!pair || !isScalar(pair.key) || !pair.key.range) return fail();
  const [start, end] = pair.key.range;
  // A key that is an alias, or a block scalar, has no text of its own to replace.
  if (pair.key.type?.startsWith('BLOCK')) return fail();
  const old = text.slice(start, end);
  return [{ start, end, put: plainAlike(old, name) ?? flow(name, pair.key.type) }];
}

/** The name without quotes, where the old one had none. */
function plainAlike(old: string, name: string): string | undefined {
  return /^[\w-]+$/.test(old) && /^[A-Za-z][\w-]*$/.test(name) && !/^(true|false|null)$/i.test(name)
    ? name
    : undefined;
}

// --- another place --------------------------------------------------------------------------------

/** Whole entries or items of a block; the texts alone where they are in brackets. */
function reorder(
  text: string,
  parent: unknown,
  key: string | number,
  place: number,
  newline: string,
): Cut[] {
  if (!isMap(parent) && !isSeq(parent)) return fail();
  const pairs = isMap(parent) ? parent.items : undefined;
  const spans = isMap(parent)
    ? parent.items.map((pair) => [startOf(pair.key), pairEnd(text, pair)] as const)
    : parent.items.map((item) => [startOf(item), contentEnd(text, item)] as const);
  const at = pairs ? pairs.indexOf(pairOf(parent as YAMLMap, key)!) : Number(key);
  if (at < 0 || at >= spans.length || place < 0 || place >= spans.length) return fail();
  if (parent.flow) {
    const texts = spans.map(([start, end]) => text.slice(start, end));
    const [moving] = texts.splice(at, 1);
    texts.splice(place, 0, moving!);
    return spans.flatMap(([start, end], i) =>
      text.slice(start, end) === texts[i] ? [] : [{ start, end, put: texts[i]! }],
    );
  }
  const lead = pairs ? /^ *$/ : /^ *-[ \t]+$/;
  const blocks = spans.map(([start, end]) => {
    const from = text.lastIndexOf('\n', start - 1) + 1;
    const before = text.slice(from, start);
    // What begins on the line of something else, e.g. of a list, cannot be lifted out.
    if (!lead.test(before)) return fail();
    return { from: withComments(text, from), end: nextLine(text, end) };
  });
  const own = blocks[at]!;
  const end = withBlanks(text, own.end);
  const moving = text.slice(own.from, end);
  const to = place < at ? blocks[place]!.from : withBlanks(text, blocks[place]!.end);
  const ends = (one: string) => (one.endsWith('\n') ? one : one + newline);
  const put = to === text.length && !text.endsWith('\n') ? newline + moving : ends(moving);
  return [
    { start: own.from, end, put: '' },
    { start: to, end: to, put },
  ];
}

/** The start of the comment lines right above a line. */
export function withComments(text: string, lineStart: number): number {
  let from = lineStart;
  while (from > 0) {
    const above = text.lastIndexOf('\n', from - 2) + 1;
    if (!/^ *#/.test(text.slice(above, from))) break;
    from = above;
  }
  return from;
}

/** Behind the empty lines that begin there. */
function withBlanks(text: string, at: number): number {
  return at + /^(?:[ \t]*\r?\n)*/.exec(text.slice(at))![0].length;
}

/** The start of the line after the one that contains the text up to `end`. */
export function nextLine(text: string, end: number): number {
  const next = text.indexOf('\n', lineEnd(text, end));
  return next < 0 ? text.length : next + 1;
}

// --- offsets ------------------------------------------------------------------------------------

/** The end of a node's last character, without the comments and blank lines after it. */
export function contentEnd(text: string, node: unknown): number {
  if (isMap(node) && !node.flow && node.items.length > 0) return pairEnd(text, node.items.at(-1)!);
  if (isSeq(node) && !node.flow && node.items.length > 0)
    return contentEnd(text, node.items.at(-1));
  return (node as Scalar).range![1];
}

function startOf(node: unknown): number {
  return (node as Scalar).range![0];
}

function pairEnd(text: string, pair: Pair): number {
  return isBlank(pair.value) ? afterColon(text, pair) : contentEnd(text, pair.value);
}

/** After the colon of a pair without a value, or after its key if there is no colon either. */
function afterColon(text: string, pair: Pair): number {
  const end = (pair.key as Scalar).range![1];
  const gap = /^[ \t]*:/.exec(text.slice(end, end + 200));
  return end + (gap?.[0].length ?? 0);
}

/** The end of the line that contains the text up to `end`, before its line break. */
function lineEnd(text: string, end: number): number {
  const from = text[end - 1] === '\n' ? end - 1 : end; // a block scalar includes its line break
  const newline = text.indexOf('\n', from);
  const stop = newline < 0 ? text.length : newline;
  return text[stop - 1] === '\r' ? stop - 1 : stop;
}

// --- writing ------------------------------------------------------------------------------------

/** A value that is added in flow style makes a line no longer than this. */
const MAX_LINE = 110;

function isPlainMap(value: unknown): value is Record<string, unknown> {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** A key with its value: on one line where that is short, else in block style. */
function pairLines(key: string, value: unknown, indent: number): string[] {
  const pad = ' '.repeat(indent);
  const one = `${pad}${flow(key)}: ${flow(value)}`;
  if (one.length <= MAX_LINE) return [one];
  if (isPlainMap(value))
    return [
      `${pad}${flow(key)}:`,
      ...Object.entries(value).flatMap(([name, item]) => pairLines(name, item, indent + 2)),
    ];
  if (Array.isArray(value) && value.some((item) => typeof item === 'object' && item !== null))
    return [`${pad}${flow(key)}:`, ...value.flatMap((item) => itemLines(item, indent + 2))];
  return [one];
}

/** An item of a list in block style. */
export function itemLines(value: unknown, indent: number): string[] {
  const pad = ' '.repeat(indent);
  const one = `${pad}- ${flow(value)}`;
  if (one.length <= MAX_LINE || !isPlainMap(value)) return [one];
  const lines = Object.entries(value).flatMap(([key, item]) => pairLines(key, item, indent + 2));
  return [`${pad}- ${lines[0]!.trimStart()}`, ...lines.slice(1)];
}

/** Plain data in YAML's flow style. @param style the quotes of the value that it replaces */
export function flow(value: unknown, style?: Scalar.Type | null): string {
  if (Array.isArray(value)) return `[${value.map((item) => flow(item)).join(', ')}]`;
  if (typeof value === 'object' && value !== null) {
    const pairs = Object.entries(value).map(([key, item]) => `${flow(key)}: ${flow(item)}`);
    return pairs.length > 0 ? `{ ${pairs.join(', ')} }` : '{}';
  }
  if (typeof value !== 'string') return String(value);
  if (style === Scalar.QUOTE_SINGLE && !/[\n\r]/.test(value))
    return `'${value.replaceAll("'", "''")}'`;
  const plain = /^[A-Za-z]([\w .-]*\w)?$/.test(value) && !/^(true|false|null)$/i.test(value);
  return plain && style !== Scalar.QUOTE_DOUBLE ? value : JSON.stringify(value);
}
