import { isDeepStrictEqual } from 'node:util';
import {
  isAlias,
  isMap,
  isScalar,
  isSeq,
  type Pair,
  parseDocument,
  Scalar,
  type YAMLMap,
} from 'yaml';
import { valueAt } from './explain.ts';
import { type Path, pathText } from './finding.ts';

/**
 * Edits of a YAML text that leave every character alone but those of the values concerned, so that
 * comments, order, quotes and spacing stay as their author left them.
 */

export interface Edit {
  path: (string | number)[];
  /** Plain data; undefined deletes. */
  value: unknown;
}

/**
 * The text with the edit made. What is missing on the way to `path` is added.
 * @param text sound YAML, e.g. of a prop file without findings.
 * @throws RangeError when the place cannot be edited alone, e.g. because an alias shares it.
 */
export function splice(text: string, edit: Edit): string {
  const document = parseDocument(text);
  const before: unknown = document.toJS();
  const value = edit.value === undefined ? undefined : JSON.parse(JSON.stringify(edit.value));
  if (isDeepStrictEqual(valueAt(before, edit.path), value)) return text;
  let result = text;
  const cuts = cutsFor(text, document.contents, { path: edit.path, value });
  for (const { start, end, put } of cuts.sort((a, b) => b.start - a.start))
    result = result.slice(0, start) + put + result.slice(end);
  // The new text must say what was asked for, and the same as before everywhere else.
  const parsed = parseDocument(result);
  const wanted = changed(before, edit.path, value);
  if (parsed.errors.length > 0 || !isDeepStrictEqual(parsed.toJS(), wanted))
    throw shared(edit.path);
  return result;
}

/** `end` is exclusive; `put` takes the place of what was there. */
interface Cut {
  start: number;
  end: number;
  put: string;
}

function shared(path: Path): RangeError {
  return new RangeError(`${pathText(path)} cannot be changed alone; edit the file by hand`);
}

function cutsFor(text: string, root: unknown, { path, value }: Edit): Cut[] {
  let node = root;
  for (const [i, key] of path.entries()) {
    const rest = path.slice(i + 1);
    if (isSeq(node) && typeof key === 'number' && key < node.items.length) {
      const item = node.items[key];
      if (rest.length === 0)
        return value === undefined ? fail(path) : replace(text, item, value, path);
      node = item;
      continue;
    }
    if (!isMap(node)) return fail(path);
    const pair = node.items.find((other) => String((other.key as Scalar).value) === String(key));
    if (value === undefined && !pair) return [];
    if (!pair) return insert(text, node, String(key), nest(rest, value, path));
    if (rest.length === 0 && value === undefined) return remove(text, node, pair);
    if (rest.length === 0 || isEmpty(pair.value)) {
      if (value === undefined) return [];
      const nested = nest(rest, value, path);
      if (!isBlank(pair.value)) return replace(text, pair.value, nested, path);
      const at = afterColon(text, pair);
      return [{ start: at, end: at, put: ` ${flow(nested)}` }];
    }
    node = pair.value;
  }
  return fail(path);
}

function fail(path: Path): never {
  throw shared(path);
}

/** `value` inside one map for every key of `path`. */
function nest(path: Path, value: unknown, whole: Path): unknown {
  return path.reduceRight((inner, key) => {
    if (typeof key === 'number') return fail(whole);
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
  if (child === undefined) delete copy[key];
  else copy[key] = child;
  return copy;
}

function isEmpty(node: unknown): boolean {
  return node === null || (isScalar(node) && node.value === null);
}

/** Nothing at all stands there, not even `null`. */
function isBlank(node: unknown): boolean {
  return (
    node === null ||
    (isScalar(node) && node.range?.[0] === node.range?.[1] && !node.type?.startsWith('QUOTE'))
  );
}

function replace(text: string, node: unknown, value: unknown, path: Path): Cut[] {
  if (isAlias(node)) return fail(path);
  if (isSeq(node) && Array.isArray(value) && value.length === node.items.length)
    return node.items.flatMap((item, i) => {
      const same = isScalar(item) && item.value === value[i];
      return same ? [] : replace(text, item, value[i], [...path, i]);
    });
  const start = (node as Scalar).range![0];
  const quoted = isScalar(node) ? node.type : undefined;
  return [{ start, end: contentEnd(text, node), put: flow(value, quoted) }];
}

function insert(text: string, map: YAMLMap, key: string, value: unknown): Cut[] {
  const last = map.items.at(-1);
  const pair = `${flow(key)}: ${flow(value)}`;
  if (!last) return [{ start: map.range![0], end: map.range![1], put: `{ ${pair} }` }];
  const end = pairEnd(text, last);
  if (map.flow) return [{ start: end, end, put: `, ${pair}` }];
  const firstKey = (map.items[0]!.key as Scalar).range![0];
  const indent = firstKey - (text.lastIndexOf('\n', firstKey - 1) + 1);
  const at = lineEnd(text, end);
  const newline = text.includes('\r\n') ? '\r\n' : '\n';
  return [{ start: at, end: at, put: `${newline}${' '.repeat(indent)}${pair}` }];
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
  if (map.flow && i === 0)
    return [{ start, end: (map.items[1]!.key as Scalar).range![0], put: '' }];
  if (map.flow) return [{ start: pairEnd(text, map.items[i - 1]!), end, put: '' }];
  const lineStart = text.lastIndexOf('\n', start - 1) + 1;
  const next = text.indexOf('\n', lineEnd(text, end));
  return [{ start: lineStart, end: next < 0 ? text.length : next + 1, put: '' }];
}

// --- offsets ------------------------------------------------------------------------------------

/** Where the last character of a node ends, without the comments and blank lines after it. */
function contentEnd(text: string, node: unknown): number {
  if (isMap(node) && !node.flow && node.items.length > 0) return pairEnd(text, node.items.at(-1)!);
  if (isSeq(node) && !node.flow && node.items.length > 0)
    return contentEnd(text, node.items.at(-1));
  return (node as Scalar).range![1];
}

function pairEnd(text: string, pair: Pair): number {
  return isBlank(pair.value) ? afterColon(text, pair) : contentEnd(text, pair.value);
}

/** Behind the colon of a pair without a value, or behind its key where there is no colon either. */
function afterColon(text: string, pair: Pair): number {
  const end = (pair.key as Scalar).range![1];
  const gap = /^[ \t]*:/.exec(text.slice(end, end + 200));
  return end + (gap?.[0].length ?? 0);
}

/** The end of the line that the text up to `end` is on, before its line break. */
function lineEnd(text: string, end: number): number {
  const from = text[end - 1] === '\n' ? end - 1 : end; // a block scalar takes its line break along
  const newline = text.indexOf('\n', from);
  const stop = newline < 0 ? text.length : newline;
  return text[stop - 1] === '\r' ? stop - 1 : stop;
}

// --- writing ------------------------------------------------------------------------------------

/** The value in flow style, in the quotes of what it replaces. */
function flow(value: unknown, style?: Scalar.Type | null): string {
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
