import { createReadStream } from 'node:fs';
import { utf8Text } from '../shared/utf8.ts';
import { applyEdits, changed, type Edit } from './edit-text.ts';
import { applyEntryEdits, type Entries, sharing } from './entries.ts';
import {
  closest,
  type Finding,
  inOrder,
  type Path,
  pathText,
  type Remark,
  WHOLE_FILE,
} from './finding.ts';
import { withoutGroups, writtenIn } from './groups.ts';
import { lint } from './lint.ts';
import { entriesWithParts, isMap, valueFromPart, withParts } from './parts.ts';
import { type Prop, schemas } from './schema.ts';
import { knownKeys, remarksOfIssues, valueAt, withinUnion } from './schema-remarks.ts';
import { withSoundFiles } from './sound-files.ts';
import { type TakeFiles, takesBeside } from './take/take-files.ts';
import { MAX_BYTES, type PropText, readText, type Sentence, TOO_LARGE } from './text.ts';

export { type Finding, formatFinding } from './finding.ts';

export interface Loaded {
  file: string;
  text: string;
  /** The parsed text, for edits and places; undefined when there was none to read. */
  source: PropText | undefined;
  /** The plain data of the text; undefined when it is not YAML. */
  raw: unknown;
  /** Undefined when any finding is an error. */
  prop: Prop | undefined;
  /** In the order of the file. */
  findings: Finding[];
}

/**
 * Reads the text of a prop file. Never throws: whatever is wrong with it is a finding.
 * @param takes the takes beside it; read from its folder where not given
 */
export function parseProp(text: string, file: string, takes?: TakeFiles): Loaded {
  return checkProp(readText(text), file, takes);
}

/** Checks a text that has been parsed. Never throws, either. */
export function checkProp(
  source: PropText,
  file: string,
  takes: TakeFiles = takesBeside(file),
): Loaded {
  const findings = [...source.findings];
  let prop: Prop | undefined;
  if (source.raw !== undefined) {
    const raw = withParts(source.raw);
    const place = placing(source);
    const parsed = schemas().propFile.safeParse(raw);
    if (!parsed.success) findings.push(...remarksOfIssues(parsed.error.issues, raw).map(place));
    const broken = new Broken();
    const fit = parsed.success ? parsed.data : validPart(raw, broken);
    if (fit) {
      const sound = withSoundFiles(withTakes(withoutGroups(fit), takes), file);
      const given = {
        has: (path: Path) => valueAt(raw, path) !== undefined || broken.covers(path),
        broken: (path: Path) => broken.touches(path),
        sound: parsed.success,
      };
      const written = { groups: fit.groups, stages: fit.park.stages };
      findings.push(...lint(sound, given, written).map(place));
      if (parsed.success) prop = sound;
    }
  }
  return judged(source, file, prop, findings);
}

/** A prop with the content of its takes. */
function withTakes(prop: Prop, takes: TakeFiles): Prop {
  const found = Object.entries(prop.takes).flatMap(([name, file]) => {
    const take = takes(file);
    return take ? [[name, take] as const] : [];
  });
  return found.length === 0 ? prop : { ...prop, performed: Object.fromEntries(found) };
}

/** Gives remarks their places; a remark about a part's value says so, and is placed at the part's name. */
function placing({ raw, place }: PropText): (remark: Remark) => Finding {
  return (remark) => {
    const owed = valueFromPart(raw, remark.path);
    if (!owed) return place(remark);
    const { part, wholly, keys } = owed;
    const said = `${wholly ? 'typical' : `${keys.join(', ')}: typical`} of part ${part}`;
    const wrong = `${remark.wrong} (${said})`;
    if (!wholly) return place({ ...remark, wrong });
    const at = [...remark.path.slice(0, 2), 'part'];
    // A value that is not in the file cannot be fixed there.
    const { fix: _, ...rest } = remark;
    return { ...place({ ...rest, path: at, wrong }), path: pathText(remark.path) };
  };
}

/** @param prop what fits the schema; @param findings all of them, in any order */
function judged(
  source: PropText,
  file: string,
  prop: Prop | undefined,
  findings: readonly Finding[],
): Loaded {
  const seen = new Set<string>();
  const once = findings.filter((finding) => {
    const key = JSON.stringify(finding);
    return seen.size < seen.add(key).size;
  });
  const unique = inOrder(once);
  const blocked = unique.some(({ severity }) => severity === 'error');
  const { text, raw } = source;
  return { file, text, source, raw, prop: blocked ? undefined : prop, findings: unique };
}

/**
 * The prop file with all edits made, in their order, and checked, in one parse and one check; if
 * possible, only the edited entries are parsed. The findings say whether the new text is valid.
 * @returns `loaded` itself when nothing changes.
 * @throws NotAlone (a RangeError) as `applyEdits` does; RangeError also for a text that is not valid YAML.
 */
export function editProp(loaded: Loaded, edits: readonly Edit[]): Loaded {
  const parts = editInParts(loaded, edits);
  for (;;) {
    const { done, value } = parts.next();
    if (done) return value;
  }
}

/** The same in parts, so that other work can have its turn between them. */
export function* editInParts(
  loaded: Loaded,
  edits: readonly Edit[],
): Generator<undefined, Loaded, void> {
  const { source, file } = loaded;
  if (!source || source.mended || loaded.raw === undefined)
    throw new RangeError('the file has errors and cannot be edited; fix them first');
  const quick = loaded.prop && applyEntryEdits(source, edits);
  if (quick?.source === source) return loaded;
  const given = quick && withEntries(loaded, quick.entries);
  const prop = given && withSoundFiles(given, file);
  if (prop) {
    yield;
    const raw = withParts(quick.source.raw);
    const place = placing(quick.source);
    const written = {
      has: (path: Path) => valueAt(raw, path) !== undefined,
      broken: () => false,
      sound: true,
    };
    return judged(quick.source, file, prop, lint(prop, written, writtenIn(raw)).map(place));
  }
  const next = applyEdits(source, edits);
  return next === source ? loaded : checkProp(next, file);
}

/**
 * A prop with these entries in place of those with the same names, or after the others. Unchanged parts
 * stay the same objects.
 * @returns undefined if an entry does not fit the schema
 */
function withEntries({ prop, raw }: Loaded, entries: Entries): Prop | undefined {
  let next = prop!;
  for (const [section, changed] of entries) {
    // No rule of the schema spans several entries.
    const whole = entriesWithParts(section, changed);
    const parsed = schemas().propFile.shape[section].safeParse(whole);
    if (!parsed.success) return undefined;
    const before: Record<string, unknown> = next[section];
    const after = Object.entries(parsed.data).map(([name, entry]) => [
      name,
      sharingWritten(before[name], entry, valueAt(raw, [section, name]), changed[name]),
    ]);
    next = { ...next, [section]: { ...before, ...Object.fromEntries(after) } };
  }
  return next;
}

/**
 * `after`, sharing with `before` what is written as it was: a value that is written out now is given, though it
 * may be the default.
 * @param was the data of `before` @param is that of `after`, which shares what is equal with `was`
 */
function sharingWritten(before: unknown, after: unknown, was: unknown, is: unknown): unknown {
  if (was === is) return sharing(before, after);
  const part = (key: string | number, value: unknown) =>
    sharingWritten(valueAt(before, [key]), value, valueAt(was, [key]), valueAt(is, [key]));
  if (Array.isArray(after)) return after.map((item, i) => part(i, item));
  if (!isMap(after)) return after;
  return Object.fromEntries(Object.entries(after).map(([key, value]) => [key, part(key, value)]));
}

/**
 * A prop with another cue, and what a check of it says, without its text.
 * @param loaded a valid file; @param cue as it would be written
 * @returns no prop if the cue does not fit the schema
 */
export function tryCue(
  { prop, raw }: Loaded,
  name: string,
  cue: unknown,
): { prop: Prop | undefined; remarks: Remark[] } {
  const after = changed(raw, ['cues', name], cue);
  const parsed = schemas().propFile.shape.cues.safeParse({ [name]: cue });
  if (!parsed.success) {
    const issues = parsed.error.issues.map((one) => ({ ...one, path: ['cues', ...one.path] }));
    return { prop: undefined, remarks: remarksOfIssues(issues, after) };
  }
  const [own] = Object.values(parsed.data);
  const before = prop!.cues;
  const kept = Object.hasOwn(before, name) ? sharing(before[name], own) : own;
  const next = { ...prop!, cues: { ...before, [name]: kept as typeof own & object } };
  const whole = withParts(after);
  const given = {
    has: (path: Path) => valueAt(whole, path) !== undefined,
    broken: () => false,
    sound: true,
  };
  return { prop: next, remarks: lint(next, given, writtenIn(whole)) };
}

/** Reads a prop file. A file that cannot be read is also a finding. */
export async function loadProp(
  file: string,
  read: (file: string) => Promise<Buffer> = readBounded,
): Promise<Loaded> {
  const text = await loadText(file, read);
  return typeof text === 'string' ? parseProp(text, file) : text;
}

/** The text of a file, not parsed or checked, or why there is none. */
export async function loadText(
  file: string,
  read: (file: string) => Promise<Buffer> = readBounded,
): Promise<string | Loaded> {
  let bytes: Buffer;
  try {
    bytes = await read(file);
  } catch (error) {
    return refused(file, explainReadError(error));
  }
  return decodeProp(bytes, file);
}

/** The text of a prop file, not parsed or checked, or what is wrong with its bytes. */
function decodeProp(bytes: Buffer, file: string): string | Loaded {
  if (bytes.length > MAX_BYTES) return refused(file, TOO_LARGE);
  const text = utf8Text(bytes);
  if (text !== undefined) return text;
  const sentence = ['the file is not UTF-8 text', 'save it as UTF-8', 'file.encoding'] as const;
  return refused(file, sentence, ...firstBadByte(bytes));
}

/** Reads no more than shows that a file is too large: a device may be endless. */
async function readBounded(file: string): Promise<Buffer> {
  const parts: Buffer[] = [];
  for await (const part of createReadStream(file, { end: MAX_BYTES })) parts.push(part);
  return Buffer.concat(parts);
}

function refused(file: string, [wrong, right, code]: Sentence, line = 1, column = 1): Loaded {
  const at = { line, column, path: WHOLE_FILE };
  const finding: Finding = { severity: 'error', ...(code && { code }), ...at, wrong, right };
  return {
    file,
    text: '',
    source: undefined,
    raw: undefined,
    prop: undefined,
    findings: [finding],
  };
}

const UNREADABLE = 'file.unreadable';

function explainReadError(error: unknown): Sentence {
  const code = (error as NodeJS.ErrnoException).code;
  switch (code) {
    case 'ENOENT':
      return ['there is no such file', 'check the path', UNREADABLE];
    case 'EACCES':
    case 'EPERM':
      return [
        'no permission to read the file',
        'let this user read it, e.g. with chmod u+r',
        UNREADABLE,
      ];
    case 'EISDIR':
      return ['this is a folder', 'give the prop file in it', UNREADABLE];
    default:
      return [
        `the file cannot be read (${code ?? String(error)})`,
        'check the path and the disk',
        UNREADABLE,
      ];
  }
}

/** Line and column of the first character that is not UTF-8. */
function firstBadByte(bytes: Buffer): [line: number, column: number] {
  const decoder = new TextDecoder();
  for (let line = 1, start = 0; start <= bytes.length; line++) {
    const newline = bytes.indexOf(0x0a, start);
    const end = newline < 0 ? bytes.length : newline;
    const column = decoder.decode(bytes.subarray(start, end)).indexOf('\uFFFD');
    if (column >= 0) return [line, column + 1];
    start = end + 1;
  }
  return [1, 1];
}

// --- the part of a broken file that can still be linted -----------------------------------------

/** Places that were cut out of the data or replaced by a stand-in. */
class Broken {
  readonly #places = new Set<string>();
  readonly #ancestors = new Set<string>();

  add(path: Path): void {
    this.#places.add(pathText(path));
    for (let i = 0; i < path.length; i++) this.#ancestors.add(pathText(path.slice(0, i)));
  }

  /** Whether the value at `path` is one of them, or within one. */
  covers(path: Path): boolean {
    if (this.#places.size === 0) return false;
    return path.some((_, i) => this.#places.has(pathText(path.slice(0, i + 1))));
  }

  /** Whether the value at `path` is one of them, within one, or contains one. */
  touches(path: Path): boolean {
    return this.covers(path) || this.#ancestors.has(pathText(path));
  }
}

/** Cuts out what the schema rejects until the rest is valid; undefined if nothing is left. */
function validPart(raw: unknown, broken: Broken): Prop | undefined {
  const rest = structuredClone(raw);
  for (;;) {
    const parsed = schemas().propFile.safeParse(rest);
    if (parsed.success) return parsed.data;
    // A cue has two forms; an error inside it is no reason to cut all of it.
    const issues = parsed.error.issues.flatMap((issue) =>
      issue.path[0] === 'cues' ? withinUnion(issue) : issue,
    );
    for (const issue of issues) {
      const path = issue.path as Path;
      if (issue.code !== 'unrecognized_keys') {
        if (!cut(rest, path, broken)) return undefined;
        continue;
      }
      const known = knownKeys(path, rest);
      for (const key of issue.keys) {
        cut(rest, [...path, key], broken);
        // The key that was meant counts as broken.
        const meant = closest(key, known);
        if (meant !== undefined) broken.add([...path, meant]);
      }
    }
  }
}

/** Removes `path` from `root`, or puts a stand-in there; false when nothing would be left. */
function cut(root: unknown, path: Path, broken: Broken): boolean {
  const key = path.at(-1);
  if (key === undefined) return false;
  const parentPath = path.slice(0, -1);
  const parent = valueAt(root, parentPath) as Record<string | number, unknown> | undefined;
  const substitute = broken.covers(path) ? undefined : standIn(path);
  broken.add(path);
  if (parent === undefined) return true; // already cut
  if (substitute !== undefined) parent[key] = substitute;
  else if (Array.isArray(parent) || !Object.hasOwn(parent, key))
    return cut(root, parentPath, broken);
  else delete parent[key];
  return true;
}

/** A name that nothing has. */
const NO_NAME = 'broken-name';

/** A stand-in for a broken value that is required, so that its surroundings can still be checked. */
function standIn(path: Path): unknown {
  const [section, , key, last] = path;
  const inList = typeof path.at(-1) === 'number';
  if (path.length === 1)
    return { sinew: 1, name: NO_NAME, boards: {}, channels: {} }[String(section)];
  if (section === 'groups' || section === 'park') return inList ? NO_NAME : undefined;
  if (section === 'cues') {
    const isStep = inList && path.length === (key === 'steps' ? 4 : 3);
    return isStep ? { at: 0 } : undefined;
  }
  if (section !== 'channels') return undefined;
  if (key === 'requires') return path.length === 4 ? { channel: NO_NAME, is: 'on' } : undefined;
  if (path.length === 3 && key === 'calibration')
    return [
      [1000, -90],
      [2000, 90],
    ];
  if (path.length === 3 && key === 'park') return { to: 0 };
  if (path.length === 4 && key === 'output')
    return { board: NO_NAME, pin: 63, pins: [63, 63, 63] }[String(last)];
  return undefined;
}
