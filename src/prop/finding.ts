/** A place in the prop file's data: `['channels', 'beak', 'requires', 0]`. */
export type Path = readonly (string | number)[];

/** Codes of rules for several parts of the file; any other finding has the code of its part of the file. */
export type FindingCode =
  | 'schema.unknown-key'
  | 'schema.missing'
  | 'schema.empty'
  | 'yaml.duplicate-key'
  | 'yaml.merge-key'
  | 'yaml.alias'
  | 'file.too-large'
  | 'file.encoding'
  | 'file.unreadable'
  | 'file.empty';

/** The only possible remedy of a finding: text that replaces other text, or a value for a path. */
export type Fix =
  | {
      /** Offsets in the text; the end is exclusive. */
      cut: readonly [from: number, to: number];
      text: string;
    }
  | { path: Path /** Plain data; undefined deletes. */; value: unknown };

/** One remark about a prop file. Lines and columns count from 1. */
export interface Finding {
  /** Errors block the daemon. */
  severity: 'error' | 'warning' | 'note';
  /** Stable; set if the rule has its own code, see `codeOf` for the others. */
  code?: FindingCode;
  line: number;
  column: number;
  /** `channels.beak.requires[0]`, or `(file)` for the whole file or its syntax. */
  path: string;
  wrong: string;
  right: string;
  /** Only if nothing else can have been meant. */
  fix?: Fix;
}

/** A finding before its place in the text is known. */
export interface Remark {
  severity: Finding['severity'];
  code?: FindingCode;
  path: Path;
  /** Points at the key instead of the value. */
  atKey?: boolean;
  wrong: string;
  right: string;
  fix?: Fix;
}

export const WHOLE_FILE = '(file)';

/** Names in a sentence; only the first few of a long list. */
export function listed(names: readonly string[]): string {
  const shown = names.slice(0, 8).join(', ');
  return names.length > 8 ? `${shown} and ${names.length - 8} more` : shown;
}

/** `channels.beak.requires[0]`; `(file)` for the empty path. */
export function pathText(path: Path): string {
  let text = '';
  for (const key of path) {
    if (typeof key === 'number') text += `[${key}]`;
    else text += (text && '.') + (/^[\w-]+$/.test(key) ? key : show(key));
  }
  return text || WHOLE_FILE;
}

/** Findings in the order of the file. */
export function inOrder(findings: readonly Finding[]): Finding[] {
  return [...findings].sort((a, b) => a.line - b.line || a.column - b.column);
}

/** `file:line:column: path: what is wrong; what would be right` */
export function formatFinding(finding: Finding, file: string): string {
  const { severity, line, column, path, wrong, right } = finding;
  const prefix = severity === 'error' ? '' : `${severity}: `;
  return `${file}:${line}:${column}: ${path}: ${prefix}${wrong}; ${right}`;
}

const MAX_SHOWN = 40;

/** A value as a person would write it, shortened for a message and without control characters. */
export function show(value: unknown): string {
  if (value === undefined || value === null) return 'nothing';
  if (typeof value === 'number') {
    if (Number.isNaN(value)) return '.nan';
    return Number.isFinite(value) ? String(value) : value > 0 ? '.inf' : '-.inf';
  }
  if (typeof value === 'string') {
    const short = value.length > MAX_SHOWN ? `${value.slice(0, MAX_SHOWN)}...` : value;
    return JSON.stringify(short);
  }
  if (Array.isArray(value)) {
    const flat = value.every((item) => typeof item === 'number' || typeof item === 'string');
    const text = `[${flat ? value.slice(0, MAX_SHOWN).map(show).join(', ') : ''}]`;
    return flat && text.length <= MAX_SHOWN ? text : `a list of ${value.length}`;
  }
  return typeof value === 'object' ? 'a map' : String(value);
}

/** A piece of the text as written, shortened for a message and without control characters. */
export function excerpt(text: string): string {
  const short = text.length > MAX_SHOWN ? `${text.slice(0, MAX_SHOWN)}...` : text;
  // biome-ignore lint/suspicious/noControlCharactersInRegex: none may reach a terminal
  return short.replace(/[\0-\x1F\x7F]/g, ' ').trim();
}

/** `did you mean beak?` if a known name is close enough, otherwise the known names. */
export function didYouMean(name: string, known: Iterable<string>): string {
  const names = [...known];
  const near = closest(name, names);
  if (near !== undefined) return `did you mean ${near}?`;
  if (names.length === 0) return 'there are none';
  const shown = names.slice(0, 20);
  return `use one of ${shown.join(', ')}${names.length > shown.length ? ', ...' : ''}`;
}

/** The known name with the fewest edits from `name`, if they look like a typing error. */
export function closest(name: string, known: Iterable<string>): string | undefined {
  const slips = Math.max(1, Math.floor(Math.min(name.length, 64) / 3));
  let best: string | undefined;
  let least = slips + 1;
  for (const candidate of known) {
    if (Math.abs(candidate.length - name.length) >= least) continue;
    const distance = edits(name.toLowerCase(), candidate.toLowerCase());
    if (distance < least) [best, least] = [candidate, distance];
  }
  return best;
}

/**
 * Edits between two words, where a swap of two neighbours counts as one: the optimal string alignment
 * form of the Damerau-Levenshtein distance (Boytsov, "Indexing methods for approximate dictionary
 * searching", 2011, section 2).
 */
function edits(a: string, b: string): number {
  let beforeLast: number[] = [];
  let last = Array.from({ length: b.length + 1 }, (_, j) => j);
  for (let i = 1; i <= a.length; i++) {
    const row = [i];
    for (let j = 1; j <= b.length; j++) {
      const swap = a[i - 1] === b[j - 1] ? 0 : 1;
      let cost = Math.min(last[j]! + 1, row[j - 1]! + 1, last[j - 1]! + swap);
      if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1])
        cost = Math.min(cost, beforeLast[j - 2]! + 1);
      row.push(cost);
    }
    beforeLast = last;
    last = row;
  }
  return last[b.length]!;
}

/** `on` or `off` if the value means that (as in YAML 1.1), otherwise undefined. */
export function switchWord(value: unknown): 'on' | 'off' | undefined {
  const word = String(value).toLowerCase();
  if (['on', 'yes', 'y', 'true', '1'].includes(word)) return 'on';
  if (['off', 'no', 'n', 'false', '0'].includes(word)) return 'off';
  return undefined;
}
