import * as z from 'zod';
import { tidy } from '../shared/units.ts';
import {
  closest,
  didYouMean,
  excerpt,
  type Path,
  pathText,
  type Remark,
  show,
  switchWord,
} from './finding.ts';
import { type ChannelKind, KIND_NAMES } from './kinds/channel.ts';
import { kindOf } from './kinds/registry.ts';
import { wrongPart } from './kinds/wrong-part.ts';
import { schemas } from './schema.ts';
import { numberSlip, percentOf } from './slips.ts';
import { COMMAND_PARTS, type CommandPart } from './steps.ts';
import { MERGE_KEY, type Sentence } from './text.ts';

/** Turns the schema's issues into sentences for the person who writes the prop file. */

type Schema = z.core.$ZodType;
type Issue = z.core.$ZodIssue;

/** @param raw the data that the schema checked; @param root that schema, where it is not the prop file's */
export function remarksOfIssues(
  issues: readonly Issue[],
  raw: unknown,
  root: Schema = schemas().propFile,
): Remark[] {
  const remarks = issues.flatMap((issue) => explainOne(issue, issue.path as Path, raw, root));
  // A misspelt key is one mistake, not an unknown key and a missing one.
  const meant = new Set(
    remarks
      .filter(({ code }) => code === UNKNOWN_KEY)
      .map(({ path }) => pathText([...path.slice(0, -1), meantBy(path, raw, root) ?? ''])),
  );
  return remarks.filter(({ code, path }) => code !== MISSING || !meant.has(pathText(path)));
}

function meantBy(path: Path, raw: unknown, root: Schema): string | undefined {
  return closest(String(path.at(-1)), knownKeys(path.slice(0, -1), raw, root));
}

const UNKNOWN_KEY = 'schema.unknown-key';
const MISSING = 'schema.missing';
const NOTHING = 'nothing is given';

function explainOne(issue: Issue, path: Path, raw: unknown, root: Schema): Remark[] {
  const say = ([wrong, right, code, fix]: Sentence, at = path, atKey = false): Remark[] => [
    {
      severity: 'error',
      ...(code && { code }),
      path: at,
      atKey,
      wrong,
      right,
      ...(fix && { fix }),
    },
  ];
  const value = valueAt(raw, path);
  const key = path.at(-1);

  const misplaced = wrongPartAt(path, raw);
  if (misplaced) return say(misplaced, path, true);
  if (issue.code === 'unrecognized_keys') {
    const known = knownKeys(path, raw, root);
    return issue.keys
      .filter((unknown) => unknown !== '__proto__') // already reported with the text
      .flatMap((unknown) => say(unknownKey(unknown, known, value), [...path, unknown], true));
  }
  if (issue.code === 'invalid_key') {
    if (key === '<<') return say(MERGE_KEY, path, true);
    const message = issue.issues[0]?.message ?? '';
    return say(sentence(message, key, ['is not a name', 'rename it']), path, true);
  }
  if (issue.code === 'invalid_union') {
    const best = bestOption(issue.errors);
    if (best)
      return best.flatMap((inner) =>
        explainOne(inner, [...path, ...inner.path] as Path, raw, root),
      );
  }
  if (issue.code === 'invalid_value' && isSwitch(issue.values) && switchWord(value))
    return say([
      `${show(value)} is neither on nor off`,
      `write ${switchWord(value)}`,
      undefined,
      { path, value: switchWord(value) },
    ]);

  const slip =
    value === undefined ? undefined : slipIn(value, path, issue, schemaAt(path, raw, root));
  if (slip) return say(slip);

  const wrongShape = issue.code === 'invalid_type' && issue.expected === 'object';
  const message = wrongShape ? '' : issue.message;
  const schema = schemaAt(path, raw, root);
  const [wrong, right] = sentence(message, value, [defaultWrong(issue), remedy(issue, schema)]);
  if (value === undefined) return say(['missing', `add ${key}: ${right}`, MISSING]);
  if (value === null && isColour(path, schema))
    return say([
      NOTHING,
      'quote the colour, e.g. "#000000": a bare # starts a comment',
      'schema.empty',
    ]);
  if (value === null) return say([NOTHING, `${right}, or remove the key`, 'schema.empty']);
  if (typeof value === 'number' && !Number.isFinite(value))
    return say([`${show(value)} is not a finite number`, right]);
  return say([wrong, right]);
}

/** A value in a step of a cue for a channel of another kind. */
function wrongPartAt(path: Path, raw: unknown): Sentence | undefined {
  const at = path[2] === 'steps' ? 4 : 3;
  if (path[0] !== 'cues' || path.length !== at + 2) return undefined;
  const [part, name] = [path[at], String(path[at + 1])];
  const kind = valueAt(raw, ['channels', name, 'kind']);
  if (!isPart(part) || !isKind(kind) || kindOf({ kind }).part === part) return undefined;
  return wrongPart(name, kind, valueAt(raw, path));
}

/** A value with a common slip, and what to write instead. */
function slipIn(
  value: unknown,
  path: Path,
  issue: Issue,
  schema: Schema | undefined,
): Sentence | undefined {
  const options = schema instanceof z.ZodUnion ? (schema.options as Schema[]) : [schema];
  const number = options.find((one) => one instanceof z.ZodNumber);
  if (number) {
    // A level or share, which is at most 1.
    const isShare = number.maxValue === 1 && (number.minValue ?? 0) >= 0;
    const share = isShare ? percentOf(value) : undefined;
    if (share !== undefined) {
      const right = `write ${share} for ${tidy(share * 100)} %`;
      // A plain number may mean something else.
      const fix = typeof value === 'string' ? { path, value: share } : undefined;
      return [`${show(value)} is not within 0 and 1`, right, undefined, fix];
    }
    const slip = typeof value === 'string' ? numberSlip(value, path.at(-1)) : undefined;
    if (!slip) return undefined;
    const [wrong, right, meant] = slip;
    return [wrong, right, undefined, meant === undefined ? undefined : { path, value: meant }];
  }
  const wantsMap = issue.code === 'invalid_type' && ['object', 'record'].includes(issue.expected);
  const [, name, rest] =
    (wantsMap || issue.code === 'invalid_union') && typeof value === 'string'
      ? (/^([A-Za-z_][\w-]*):(\S.*)$/.exec(value) ?? [])
      : [];
  if (name === undefined || !(wantsMap || !options.some((one) => one instanceof z.ZodString)))
    return undefined;
  return [`${show(value)} has no space after the colon`, `write ${name}: ${excerpt(rest!)}`];
}

function unknownKey(unknown: string, known: string[], parent: unknown): Sentence {
  if (unknown === '<<') return MERGE_KEY;
  const near = closest(unknown, known);
  if (near !== undefined && Object.hasOwn(Object(parent), near))
    return ['unknown key', `remove it: ${near} is given already`, UNKNOWN_KEY];
  return ['unknown key', didYouMean(unknown, known), UNKNOWN_KEY];
}

/** A schema message `is not X; give Y` about `value`, or the fallback if the schema has none. */
function sentence(message: string, value: unknown, [wrong, right]: Sentence): Sentence {
  const split = message.indexOf('; ');
  if (split < 0) return [`${show(value)} ${wrong}`, right];
  return [`${show(value)} ${message.slice(0, split)}`, message.slice(split + 2)];
}

/** The option of a union that was obviously meant: the only one with the fewest issues. */
function bestOption(options: Issue[][]): Issue[] | undefined {
  const near = options.filter(
    (issues) => !issues.some(({ code, path }) => code === 'invalid_type' && path.length === 0),
  );
  const least = Math.min(...near.map((issues) => issues.length));
  const best = near.filter((issues) => issues.length === least);
  return best.length === 1 ? best[0] : undefined;
}

/** The issues of the option that was obviously meant, instead of one about a whole union. */
export function withinUnion(issue: Issue): Issue[] {
  const best = issue.code === 'invalid_union' ? bestOption(issue.errors) : undefined;
  if (!best) return [issue];
  return best.flatMap((inner) =>
    withinUnion({ ...inner, path: [...issue.path, ...inner.path] } as Issue),
  );
}

const TYPES: Record<string, Sentence> = {
  number: ['is not a number', 'give a number'],
  int: ['is not a whole number', 'give a whole number'],
  string: ['is not text', 'give text in quotes'],
  boolean: ['is neither true nor false', 'write true or false'],
  array: ['is not a list', 'give a list: [ ... ]'],
  tuple: ['is not a list', 'give a list: [ ... ]'],
  record: ['is not a map', 'give a map: { name: ... }'],
  object: ['is not a map', 'give a map'],
};

const SIZES: Record<string, { low: string; high: string; unit: string }> = {
  number: { low: 'is too low', high: 'is too high', unit: '' },
  int: { low: 'is too low', high: 'is too high', unit: '' },
  string: { low: 'is too short', high: 'is too long', unit: ' characters' },
  array: { low: 'is too short', high: 'is too long', unit: ' items' },
};

function defaultWrong(issue: Issue): string {
  if (issue.code === 'invalid_type') return TYPES[issue.expected]?.[0] ?? 'is not allowed here';
  if (issue.code === 'too_small') return SIZES[issue.origin]?.low ?? 'is too small';
  if (issue.code === 'too_big') return SIZES[issue.origin]?.high ?? 'is too big';
  return 'is not allowed here';
}

function remedy(issue: Issue, schema: Schema | undefined): string {
  const meaning = schema && describe(schema);
  const about = meaning ? ` (${meaning.replaceAll(';', ',')})` : '';
  if (issue.code === 'too_small' || issue.code === 'too_big') {
    const low = issue.code === 'too_small';
    const bound = low ? issue.minimum : issue.maximum;
    const unit = SIZES[issue.origin]?.unit ?? '';
    if (issue.inclusive === false) return `give ${low ? 'more' : 'less'} than ${bound}${about}`;
    return `give ${bound}${unit} or ${low ? 'more' : 'less'}${about}`;
  }
  if (issue.code === 'invalid_value') return `use ${issue.values.join(' or ')}${about}`;
  if (issue.code === 'invalid_type') {
    if (issue.expected === 'object' && schema instanceof z.ZodObject)
      return `give a map with the keys ${Object.keys(schema.shape).join(', ')}`;
    if (issue.expected === 'object' && schema instanceof z.ZodDiscriminatedUnion)
      return `give a map that begins with ${schema.def.discriminator}`;
    return (TYPES[issue.expected]?.[1] ?? 'correct it') + about;
  }
  return `correct it${about}`;
}

function isPart(key: unknown): key is CommandPart {
  return COMMAND_PARTS.some((part) => part === key);
}

function isKind(kind: unknown): kind is ChannelKind {
  return KIND_NAMES.some((name) => name === kind);
}

// --- on and off ---------------------------------------------------------------------------------

function isSwitch(values: readonly unknown[]): boolean {
  return values.includes('on') && values.includes('off');
}

/** Whether a colour is allowed at this path. */
function isColour(path: Path, schema: Schema | undefined): boolean {
  const [section, , third, fourth] = path;
  if (section === 'poses') return true;
  if (section === 'cues') return fourth === 'colour';
  return section === 'channels' && third === 'park' && schema instanceof z.ZodString;
}

// --- the schema and the data behind a path ------------------------------------------------------

/** The value at a path in plain data; undefined if there is none. */
export function valueAt(raw: unknown, path: Path): unknown {
  let value = raw;
  for (const key of path) {
    if (typeof value !== 'object' || value === null || !Object.hasOwn(value, key)) return undefined;
    value = (value as Record<string | number, unknown>)[key];
  }
  return value;
}

/** The keys that the schema allows in the map at `path`. */
export function knownKeys(path: Path, raw: unknown, root: Schema = schemas().propFile): string[] {
  const schema = schemaAt(path, raw, root);
  if (schema instanceof z.ZodObject) return Object.keys(schema.shape);
  if (schema instanceof z.ZodDiscriminatedUnion)
    return Object.keys(variantOf(schema, valueAt(raw, path))?.shape ?? {});
  if (schema instanceof z.ZodUnion)
    return [
      ...new Set((schema.options as z.ZodObject[]).flatMap((o) => Object.keys(o.shape ?? {}))),
    ];
  return [];
}

/** The schema at a path; the data chooses among variants. */
function schemaAt(path: Path, raw: unknown, root: Schema): Schema | undefined {
  let schema: Schema | undefined = unwrap(root);
  let value = raw;
  for (const key of path) {
    schema = schema && below(schema, key, value);
    value = valueAt(value, [key]);
  }
  return schema;
}

function below(schema: Schema, key: string | number, value: unknown): Schema | undefined {
  let next: Schema | undefined;
  if (schema instanceof z.ZodObject)
    next = Object.hasOwn(schema.shape, key) ? schema.shape[key] : undefined;
  else if (schema instanceof z.ZodRecord) next = schema.valueType;
  else if (schema instanceof z.ZodArray) next = schema.element;
  else if (schema instanceof z.ZodTuple) next = schema.def.items[Number(key)];
  else if (schema instanceof z.ZodDiscriminatedUnion) {
    const variant = variantOf(schema, value);
    next = variant && below(variant, key, value);
  } else if (schema instanceof z.ZodUnion) {
    for (const option of schema.options) next ??= below(option as Schema, key, value);
  }
  return next && unwrap(next);
}

/** The variant of a union that the data names, e.g. by its kind. */
function variantOf(union: z.ZodDiscriminatedUnion, value: unknown): z.ZodObject | undefined {
  const by = union.def.discriminator;
  const named = valueAt(value, [by]) as string;
  return (union.options as z.ZodObject[]).find((option) =>
    (option.shape[by] as z.ZodLiteral).values.has(named),
  );
}

/** The schema without optional and default wrappers. */
function unwrap(schema: Schema): Schema {
  let inner = schema;
  while (inner instanceof z.ZodOptional || inner instanceof z.ZodDefault) inner = inner.unwrap();
  return inner;
}

function describe(schema: Schema): string | undefined {
  return schema instanceof z.ZodType ? schema.description : undefined;
}
