import EXAMPLES from '../../config/key-examples.json' with { type: 'json' };
import { Refusal } from '../shared/errors.ts';
import { didYouMean } from './finding.ts';

/** What the prop file may say at a place, from its JSON Schema. */

/** The parts of a JSON Schema that the prop file's uses. */
export interface KeySchema {
  type?: string | string[];
  description?: string;
  default?: unknown;
  const?: unknown;
  enum?: unknown[];
  anyOf?: KeySchema[];
  oneOf?: KeySchema[];
  properties?: Record<string, KeySchema>;
  required?: string[];
  additionalProperties?: boolean | KeySchema;
  items?: KeySchema;
  prefixItems?: KeySchema[];
  minimum?: number;
  maximum?: number;
  exclusiveMinimum?: number;
  exclusiveMaximum?: number;
  minItems?: number;
  maxItems?: number;
  minLength?: number;
  maxLength?: number;
}

export interface KeyInfo {
  name: string;
  /** Its place, as `explainKey` takes it: `channels.servo.calibration`. */
  path: string;
  /** What to write, in words: `number, from 0 to 1`. */
  form: string;
  required: boolean;
  about?: string;
  /** In use where the file says nothing. */
  default?: unknown;
}

export interface Explanation extends KeyInfo {
  /** The place that it is a key of; null for the whole file. */
  parent: string | null;
  /** What it may say, as it would be written: `[-5, 35]`. */
  example?: string;
  /** Keys that it may have; where it may have several forms, those of all of them. */
  keys: KeyInfo[];
  /** Words to go on with where its keys depend on them: `servo`, `relay`. */
  kinds: string[];
}

/**
 * Explains a key of the prop file.
 * @param path keys with dots between; a name may stand where the file has one, or be left out:
 * `channels.beak.calibration`, `rails.fuse`; `channels.servo` means any servo; empty for the whole file
 * @throws Refusal `command.unknown-name` that suggests a key
 */
export function explainKey(schema: KeySchema, path: string): Explanation {
  const words = path.split(/[.[\]\s]+/).filter(Boolean);
  let nodes: Node[] = [{ schema, required: true }];
  const gone: string[] = [];
  const general: string[] = [];
  for (const word of words) {
    const next = step(nodes, word);
    if (next.nodes.length === 0) {
      const known = keysOf(nodes, '').map(({ name }) => name);
      const where = gone.length === 0 ? 'a prop file' : gone.join('.');
      const reason =
        known.length === 0
          ? `${where} has no keys`
          : `${where} has no key ${word}; ${didYouMean(word, known)}`;
      throw new Refusal('command.unknown-name', reason, { name: word });
    }
    nodes = next.nodes;
    gone.push(word);
    if (!next.isName) general.push(word);
  }
  const members = nodes.flatMap(({ schema: one }) => alternatives(one));
  const place = gone.join('.');
  const example = exampleOf(general);
  return {
    ...infoOf(gone.at(-1) ?? '', place, nodes),
    parent: gone.length === 0 ? null : gone.slice(0, -1).join('.'),
    ...(example !== undefined && { example }),
    keys: keysOf(nodes, place),
    kinds: [...new Set(members.flatMap((one) => kindsOf(one)))],
  };
}

/** @param words without the names that a file gives */
function exampleOf(words: readonly string[]): string | undefined {
  const examples: Record<string, string> = EXAMPLES;
  const own = examples[words.join('.')];
  if (own !== undefined) return own;
  const [section, ...rest] = words;
  const end = `.${rest.join('.')}`;
  // Without its kind: of any kind that has this key.
  return Object.entries(examples).find(
    ([path]) =>
      path.startsWith(`${section}.`) &&
      path.endsWith(end) &&
      path.split('.').length === words.length + 1,
  )?.[1];
}

/** A key of the prop file, found by a word of its name or its meaning. */
export interface FoundKey {
  path: string;
  about?: string;
}

/** A form within itself, such as the steps within steps, is not looked at again. */
const MAX_DEPTH = 8;

/**
 * Keys that have all of the words in their path or in what they mean, those with the words in their own
 * name first.
 */
export function findKeys(schema: KeySchema, text: string, limit: number): FoundKey[] {
  const words = text
    .toLowerCase()
    .split(/[.\s]+/)
    .filter(Boolean);
  if (words.length === 0) return [];
  const found: { key: FoundKey; rank: number }[] = [];
  const seen = new Set<string>();
  for (const key of everyKey(schema, '', 0)) {
    if (seen.has(key.path)) continue;
    seen.add(key.path);
    const path = key.path.toLowerCase();
    const name = path.slice(path.lastIndexOf('.') + 1);
    const about = key.about?.toLowerCase() ?? '';
    if (!words.every((word) => path.includes(word) || about.includes(word))) continue;
    const last = words.at(-1)!;
    const rank = name === last ? 0 : name.includes(last) ? 1 : path.includes(last) ? 2 : 3;
    found.push({ key, rank });
  }
  found.sort((a, b) => a.rank - b.rank);
  return found.slice(0, limit).map(({ key }) => key);
}

function* everyKey(schema: KeySchema, path: string, depth: number): Generator<FoundKey> {
  if (depth > MAX_DEPTH) return;
  for (const form of alternatives(schema)) {
    const mark = depth === 2 ? markOf(form) : undefined;
    const at = mark === undefined ? path : `${path}.${mark}`;
    for (const [name, of] of Object.entries(form.properties ?? {})) {
      const place = at ? `${at}.${name}` : name;
      yield { path: place, ...(of.description !== undefined && { about: of.description }) };
      yield* everyKey(of, place, depth + 1);
    }
    const named = form.additionalProperties;
    if (typeof named === 'object') yield* everyKey(named, at, depth + 1);
  }
}

interface Node {
  schema: KeySchema;
  required: boolean;
}

/** The forms that a value may have, one by one; of a list, those of its items, too. */
function alternatives(schema: KeySchema): KeySchema[] {
  const forms = schema.anyOf ?? schema.oneOf;
  if (forms) return forms.flatMap(alternatives);
  const items = schema.items ? alternatives(schema.items) : [];
  return [schema, ...items, ...(schema.prefixItems ?? []).flatMap(alternatives)];
}

/** Where a key, a name or the number of an item leads; `isName`: the file gives that word. */
function step(nodes: readonly Node[], word: string): { nodes: Node[]; isName: boolean } {
  const members = nodes.flatMap(({ schema }) => alternatives(schema));
  const found: Node[] = [];
  for (const { properties, required = [] } of members) {
    const schema = properties && Object.hasOwn(properties, word) ? properties[word] : undefined;
    if (schema) found.push({ schema, required: required.includes(word) });
  }
  if (found.length > 0) return { nodes: found, isName: false };
  const chosen = members.filter((one) => markOf(one) === word);
  if (chosen.length > 0)
    return { nodes: chosen.map((schema) => ({ schema, required: false })), isName: false };
  let isName = true;
  for (const { additionalProperties: named } of members) {
    if (typeof named !== 'object') continue;
    const forms = alternatives(named);
    // The name may be left out: channels.servo is any servo, and rails.fuse the fuse of any rail.
    const isWithin = (form: KeySchema) =>
      markOf(form) === word || Object.hasOwn(form.properties ?? {}, word);
    const of: Node = { schema: named, required: false };
    if (forms.some(isWithin)) {
      found.push(...step([of], word).nodes);
      isName = false;
    } else found.push(of);
  }
  if (found.length === 0 && /^\d+$/.test(word))
    for (const { items, prefixItems } of members)
      for (const schema of [...(items ? [items] : []), ...(prefixItems ?? [])])
        found.push({ schema, required: false });
  return { nodes: found, isName };
}

/** The word by which one of several forms is known: its `kind: servo`, or `driver: sim`. */
export function markOf({ properties = {} }: KeySchema): string | undefined {
  for (const key of ['kind', 'driver']) {
    const value = properties[key]?.const;
    if (typeof value === 'string') return value;
  }
  return undefined;
}

function kindsOf(schema: KeySchema): string[] {
  const named = schema.additionalProperties;
  const forms = typeof named === 'object' ? alternatives(named) : [];
  return forms.flatMap((one) => markOf(one) ?? []);
}

/** The keys that it may have; of a map of names with one form, those of each. */
function keysOf(nodes: readonly Node[], place: string): KeyInfo[] {
  const found = new Map<string, Node[]>();
  const add = ({ properties = {}, required = [] }: KeySchema) => {
    for (const [key, schema] of Object.entries(properties))
      found.set(key, [...(found.get(key) ?? []), { schema, required: required.includes(key) }]);
  };
  const forms = nodes.flatMap(({ schema }) => alternatives(schema));
  for (const form of forms) add(form);
  if (found.size === 0)
    for (const { additionalProperties: named } of forms)
      if (typeof named === 'object' && kindsOf({ additionalProperties: named }).length === 0)
        for (const form of alternatives(named)) add(form);
  return [...found].map(([name, of]) => infoOf(name, place ? `${place}.${name}` : name, of));
}

function infoOf(name: string, path: string, nodes: readonly Node[]): KeyInfo {
  const schemas = nodes.map(({ schema }) => schema);
  const about = schemas.find(({ description }) => description)?.description;
  const defaults = new Set(schemas.map((one) => JSON.stringify(one.default)));
  const value = defaults.size === 1 ? schemas[0]?.default : undefined;
  return {
    name,
    path,
    form: [...new Set(schemas.map(formOf))].join(', or '),
    required: nodes.every(({ required }) => required),
    ...(about !== undefined && { about }),
    ...(value !== undefined && !isEmpty(value) && { default: value }),
  };
}

function isEmpty(value: unknown): boolean {
  return typeof value === 'object' && value !== null && Object.keys(value).length === 0;
}

/** What to write, in words. */
function formOf(schema: KeySchema): string {
  const forms = schema.anyOf ?? schema.oneOf;
  if (forms) {
    const values = forms.map((one) => one.const);
    if (values.every((value) => value !== undefined)) return values.map(show).join(', ');
    return [...new Set(forms.map(formOf))].join(', or ');
  }
  if (schema.const !== undefined) return show(schema.const);
  if (schema.enum) return schema.enum.map(show).join(', ');
  if (Array.isArray(schema.type)) return schema.type.map(typeText).join(', or ');
  switch (schema.type) {
    case 'array':
      return listForm(schema);
    case 'object':
      return typeof schema.additionalProperties === 'object'
        ? `a name for each, with ${formOf(schema.additionalProperties)}`
        : 'keys of its own';
    case 'number':
    case 'integer':
      return typeText(schema.type) + rangeText(schema);
    default:
      return typeText(schema.type ?? 'value');
  }
}

function listForm({ items, prefixItems, minItems, maxItems }: KeySchema): string {
  if (prefixItems) return `a list: ${prefixItems.map(formOf).join(', then ')}`;
  const count = minItems !== undefined && minItems === maxItems ? ` of ${minItems}` : '';
  return `a list${count}${items ? `, each ${formOf(items)}` : ''}`;
}

function typeText(type: string): string {
  return { string: 'text', integer: 'whole number', boolean: 'true, false' }[type] ?? type;
}

/** Larger numbers are those of the machine, not of the trade. */
const HUGE = 1e15;

function rangeText({ minimum, exclusiveMinimum, maximum, exclusiveMaximum }: KeySchema): string {
  const low = minimum ?? exclusiveMinimum;
  const high = maximum ?? exclusiveMaximum;
  const lowText =
    low === undefined || low < -HUGE
      ? ''
      : minimum === undefined
        ? `more than ${low}`
        : `from ${low}`;
  const highText =
    high === undefined || high > HUGE ? '' : maximum === undefined ? `below ${high}` : `to ${high}`;
  const both = [lowText, highText].filter(Boolean).join(' ');
  return both && `, ${both}`;
}

function show(value: unknown): string {
  return typeof value === 'string' ? value : JSON.stringify(value);
}
