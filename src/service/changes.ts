import { isDeepStrictEqual } from 'node:util';
import { type Path, pathText, show } from '../prop/finding.ts';
import { flatStages, writtenIn } from '../prop/groups.ts';
import { valueAt } from '../prop/schema-remarks.ts';

/** What two versions of a prop file differ in. */
export interface Changes {
  /** For a person, e.g. `marks.open of beak: 30 becomes 31.5`. */
  list: string[];
  /** Whether it takes effect only when the prop is parked: everything is rebuilt then. */
  whenParked: boolean;
  /** The top-level parts that differ, channels and cues included. */
  parts: Set<string>;
  /** Channels and cues that differ, were added or are gone. */
  channels: Set<string>;
  cues: Set<string>;
}

/** Lines of a list; what is above is counted. */
const MAX_LINES = 40;

/** What takes effect at once, whatever it becomes. */
const AT_ONCE = new Set([
  'name',
  'cues',
  'poses',
  'takes',
  'groups',
  'idle',
  'osc',
  'e131',
  'wires',
  'connectors',
  'channels',
  'triggers',
  'picture',
]);
/** What takes effect at once within a channel. */
const AT_ONCE_OF_CHANNEL = new Set(['marks', 'wire', 'measured']);

type Data = Record<string, unknown>;

/**
 * The difference between the plain data of two valid prop files.
 * @param captured paths that were measured on the prop itself: they take effect at once, limits as well
 */
export function changesBetween(
  before: unknown,
  after: unknown,
  captured: readonly Path[] = [],
): Changes {
  const lines = new Lines();
  const changes: Changes = {
    list: [],
    whenParked: false,
    parts: new Set(),
    channels: new Set(),
    cues: new Set(),
  };
  const own = new Set(captured.map((path) => pathText(path.slice(0, 3))));
  for (const part of keysOf(before, after)) {
    const [was, is] = [(before as Data)[part], (after as Data)[part]];
    const moved = (part === 'channels' || part === 'rails') && order(was) !== order(is);
    if (isDeepStrictEqual(was, is) && !moved) continue;
    changes.parts.add(part);
    if (!AT_ONCE.has(part) && !(part === 'sounds' && isDeepStrictEqual(files(was), files(is))))
      changes.whenParked = true;
    if (part === 'channels') channels(changes, lines, own, was, is);
    else if (part === 'triggers') triggers(changes, lines, was, is);
    else if (part === 'cues') cues(changes, lines, was, is);
    else if (NAMED[part]) named(lines, NAMED[part], was, is);
    else lines.differences(was, is, [part], '');
    // The telemetry is in the order of the file.
    if (moved && isDeepStrictEqual(was, is)) lines.say(`${part}: in another order`);
    if (moved) changes.whenParked = true;
  }
  // A group may stand in a stage of parking.
  if (changes.parts.has('groups') && !isDeepStrictEqual(stagesIn(before), stagesIn(after)))
    changes.whenParked = true;
  changes.list = lines.list();
  return changes;
}

function stagesIn(raw: unknown): string[][] {
  return flatStages(writtenIn(raw));
}

/** The files of sounds, by name: what follows a sound is in its take, and does not concern the core. */
function files(sounds: unknown): Record<string, unknown> {
  const entries = Object.entries((sounds ?? {}) as Record<string, unknown>);
  return Object.fromEntries(
    entries.map(([name, entry]) => [
      name,
      typeof entry === 'string' ? entry : (entry as Data).file,
    ]),
  );
}

/** Parts of which only the entries that differ are named. */
const NAMED: Record<string, string> = {
  poses: 'pose',
  takes: 'take',
  groups: 'group',
  idle: 'idle',
  connectors: 'connector',
};

function channels(
  changes: Changes,
  lines: Lines,
  own: ReadonlySet<string>,
  was: unknown,
  is: unknown,
): void {
  const called = newNames(was, is);
  for (const name of keysOf(was, is)) {
    const [one, other] = [valueAt(was, [name]), valueAt(is, [name])];
    if (isDeepStrictEqual(one, other)) continue;
    changes.channels.add(name);
    if (one === undefined || other === undefined) {
      changes.whenParked = true;
      lines.comeOrGone('channel', name, one, other, called);
      continue;
    }
    for (const key of keysOf(one, other)) {
      const [a, b] = [(one as Data)[key], (other as Data)[key]];
      if (isDeepStrictEqual(a, b)) continue;
      if (!isAtOnce(name, key, a, b, own)) changes.whenParked = true;
      lines.differences(a, b, [key], ` of ${name}`);
    }
  }
}

function isAtOnce(
  name: string,
  key: string,
  a: unknown,
  b: unknown,
  own: ReadonlySet<string>,
): boolean {
  if (AT_ONCE_OF_CHANNEL.has(key) || own.has(pathText(['channels', name, key]))) return true;
  if (key !== 'park' || a === undefined || b === undefined) return false;
  // Only where it goes, not what becomes of its pulses there.
  const rest = ({ to: _to, ...others }: Data) => others;
  return isDeepStrictEqual(rest(a as Data), rest(b as Data));
}

function triggers(changes: Changes, lines: Lines, was: unknown, is: unknown): void {
  for (const name of keysOf(was, is)) {
    const [one, other] = [valueAt(was, [name]), valueAt(is, [name])];
    if (isDeepStrictEqual(one, other)) continue;
    lines.say(`trigger ${name}: ${became(one, other)}`);
    // A contact is a pin that a board must be opened with.
    if (!isDeepStrictEqual(valueAt(one, ['input']), valueAt(other, ['input'])))
      changes.whenParked = true;
  }
}

function cues(changes: Changes, lines: Lines, was: unknown, is: unknown): void {
  for (const name of named(lines, 'cue', was, is)) changes.cues.add(name);
}

function named(lines: Lines, what: string, was: unknown, is: unknown): string[] {
  const different = keysOf(was, is).filter(
    (name) => !isDeepStrictEqual(valueAt(was, [name]), valueAt(is, [name])),
  );
  const called = newNames(was, is);
  for (const name of different)
    lines.comeOrGone(what, name, valueAt(was, [name]), valueAt(is, [name]), called);
  return different;
}

/** What has another name and is the same otherwise: the new names by the old ones. */
function newNames(was: unknown, is: unknown): Map<string, string> {
  const [before, after] = [keysOf(was, undefined), keysOf(is, undefined)];
  const gone = before.filter((name) => !after.includes(name));
  const came = after.filter((name) => !before.includes(name));
  const called = new Map<string, string>();
  // Of one alone it is sure.
  if (gone.length !== 1 || came.length !== 1) return called;
  const [old, name] = [gone[0]!, came[0]!];
  if (isDeepStrictEqual(valueAt(was, [old]), valueAt(is, [name]))) called.set(old, name);
  return called;
}

function became(was: unknown, is: unknown): string {
  if (was === undefined) return 'added';
  return is === undefined ? 'gone' : 'changed';
}

class Lines {
  readonly #lines: string[] = [];
  #more = 0;

  say(line: string): void {
    if (this.#lines.length < MAX_LINES) this.#lines.push(line);
    else this.#more++;
  }

  /** An entry that was added, is gone, changed, or has another name. */
  comeOrGone(
    what: string,
    name: string,
    was: unknown,
    is: unknown,
    called: ReadonlyMap<string, string>,
  ): void {
    const to = called.get(name);
    if (to !== undefined) this.say(`${what} ${name} is called ${to} now`);
    else if (![...called.values()].includes(name)) this.say(`${what} ${name}: ${became(was, is)}`);
  }

  /** Every value that differs, by its place. */
  differences(was: unknown, is: unknown, path: Path, of: string): void {
    if (isDeepStrictEqual(was, is)) return;
    if (isMap(was) && isMap(is)) {
      for (const key of keysOf(was, is)) this.differences(was[key], is[key], [...path, key], of);
      return;
    }
    const place = `${pathText(path)}${of}`;
    if (was === undefined) this.say(`${place}: ${shown(is)} is added`);
    else if (is === undefined) this.say(`${place}: ${shown(was)} is gone`);
    else if (shown(was) === shown(is)) this.say(`${place}: changed`);
    else this.say(`${place}: ${shown(was)} becomes ${shown(is)}`);
  }

  list(): string[] {
    return this.#more > 0 ? [...this.#lines, `and ${this.#more} more`] : this.#lines;
  }
}

function shown(value: unknown): string {
  if (Array.isArray(value)) {
    // Pairs, as in a calibration.
    const text = JSON.stringify(value)?.replaceAll(',', ', ');
    if (text !== undefined && text.length <= 60) return text;
  }
  return show(value);
}

function isMap(value: unknown): value is Data {
  return typeof value === 'object' && value !== null && !Array.isArray(value);
}

/** The keys of both, in the order of the first, then of the second. */
function keysOf(one: unknown, other: unknown): string[] {
  const keys = (value: unknown) => (isMap(value) ? Object.keys(value) : []);
  return [...new Set([...keys(one), ...keys(other)])];
}

function order(value: unknown): string {
  return isMap(value) ? Object.keys(value).join('\n') : '';
}
