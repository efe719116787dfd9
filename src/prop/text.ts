import {
  type Alias,
  Composer,
  type CST,
  type Document,
  isAlias,
  isMap,
  isScalar,
  isSeq,
  Lexer,
  LineCounter,
  type Node,
  Pair,
  Parser,
  Scalar,
  type YAMLError,
  type YAMLMap,
  YAMLParseError,
} from 'yaml';
import {
  excerpt,
  type Finding,
  type FindingCode,
  type Fix,
  type Path,
  pathText,
  type Remark,
  WHOLE_FILE,
} from './finding.ts';

/** The text of a prop file: YAML 1.2 (core schema), and the line and column of its data. */

/** Largest prop file that is read (bytes of UTF-8). */
export const MAX_BYTES = 1024 * 1024;
/** What is wrong with a larger file, and what would be right. */
export const TOO_LARGE: Sentence = [
  'the file is larger than 1 MiB',
  'a prop file is a few pages of text',
  'file.too-large',
];
/** Deeper than any prop file. The YAML library recurses, so depth is limited beforehand. */
const MAX_DEPTH = 64;
const MAX_INDENT = 200;
const MAX_ALIASES = 100;

export interface PropText {
  readonly text: string;
  /** Undefined when the text was not passed to the YAML parser. */
  readonly document: Document.Parsed | undefined;
  /** The plain data; undefined when the text is not YAML. */
  readonly raw: unknown;
  /** What is wrong with the text as YAML. */
  readonly findings: readonly Finding[];
  /** The data is what was obviously meant, not what is written: use it only for a check. */
  readonly mended?: boolean;
  /** The node of each alias (*name), in the order of the text. */
  aliases: ReadonlyMap<Alias, Node>;
  /** The offset of the value at `path`, or of its key: see `Places`. */
  offset(path: Path, atKey: boolean): number;
  /** Gives a remark its line and column. */
  place(remark: Remark): Finding;
}

type Mutable<T> = { -readonly [K in keyof T]: T[K] };

/** Returns a function that gives remarks their places in a text. */
export function placer(text: string, offset: PropText['offset']): (remark: Remark) => Finding {
  let position: ReturnType<typeof positions> | undefined;
  return ({ severity, code, path, atKey, wrong, right, fix }) => {
    position ??= positions(text);
    const at = { ...position(offset(path, atKey ?? false)), path: pathText(path) };
    return { severity, ...(code && { code }), ...at, wrong, right, ...(fix && { fix }) };
  };
}

/** Parses the text of a prop file; what is wrong with it as YAML is in `findings`. */
export function readText(text: string): PropText {
  let position: ReturnType<typeof positions> | undefined;
  const findings: Finding[] = [];
  const say: Say = (offset, [wrong, right, code, fix], path = []) => {
    position ??= positions(text);
    const at = { ...position(offset), path: pathText(path) };
    const extras = { ...(code && { code }), ...(fix && { fix }) };
    findings.push({ severity: 'error', ...extras, ...at, wrong, right });
  };
  const aliases = new Map<Alias, Node>();
  const places = new Places(aliases);
  const offset = (path: Path, atKey: boolean) => places.offset(result.document, path, atKey);
  const result: Mutable<PropText> = {
    text,
    document: undefined,
    raw: undefined,
    findings,
    aliases,
    offset,
    place: placer(text, offset),
  };

  if (Buffer.byteLength(text) > MAX_BYTES) {
    say(0, TOO_LARGE);
    return result;
  }
  // YAML 1.2.2, section 5.1: control characters are not allowed in a file.
  // biome-ignore lint/suspicious/noControlCharactersInRegex: they are what is looked for
  const control = /[\0-\x08\x0B\x0C\x0E-\x1F\x7F]/.exec(text);
  if (control) {
    const code = control[0].charCodeAt(0).toString(16).padStart(2, '0');
    const wrong = `a control character (0x${code})`;
    say(control.index, [wrong, 'remove it; is this a text file?', 'file.encoding']);
    return result;
  }
  const lexemes = [...new Lexer().lex(text)];
  const tooDeep = findTooDeep(lexemes);
  if (tooDeep !== undefined) {
    say(tooDeep, ['nested too deeply', `use at most ${MAX_DEPTH} nested brackets`]);
    return result;
  }
  const document = parseLexemes(lexemes, text.length);
  result.document = document;
  if (text.startsWith('\uFEFF')) {
    const right = 'save it as UTF-8 without one';
    const wrong = 'the file starts with a byte order mark';
    const code = 'file.encoding';
    const fix: Fix = { cut: [0, 1], text: '' };
    findings.push(result.place({ severity: 'warning', code, path: [], wrong, right, fix }));
  }
  const tabs = document.errors.some(({ code }) => code === 'TAB_AS_INDENT');
  const spaced = document.errors.length > 0 && !tabs ? withSpaces(text, document) : undefined;
  if (spaced) return spaced;
  if (tabs) {
    // They may cause the other errors.
    say(...explainTabs(text, document.errors));
    return result;
  }
  for (const error of [...document.errors, ...document.warnings])
    say(error.pos[0], explainSyntax(error));
  const { explicit, version } = document.directives.yaml;
  if (explicit && version !== '1.2')
    say(0, [`the file asks for YAML ${version}`, 'remove the %YAML line']);
  if (document.errors.length > 0) {
    for (const offset of bareColours(text)) say(offset, BARE_COLOUR);
    return result;
  }
  if (document.contents === null || (isScalar(document.contents) && !document.contents.source)) {
    const right = 'begin with sinew: 1, then name, boards and channels';
    say(0, ['the file is empty', right, 'file.empty']);
    return result;
  }
  const check = new Check(aliases, say);
  if (!check.node(document.contents)) return result;
  if (check.mended) result.mended = true;
  try {
    // Without aliases and unknown tags, the data is just as written.
    const plain = aliases.size === 0 && document.warnings.length === 0;
    result.raw = plain
      ? plainData(document.contents)
      : document.toJS({ maxAliasCount: MAX_ALIASES });
  } catch (error) {
    if (!(error instanceof ReferenceError)) throw error;
    say(0, ['the aliases (*name) multiply too far', 'write the values out', 'yaml.alias']);
  }
  return result;
}

/**
 * What is wrong, what would be right, the code of the rule if it has its own, and the only possible
 * remedy.
 */
export type Sentence = readonly [
  wrong: string,
  right: string,
  code?: FindingCode | undefined,
  fix?: Fix | undefined,
];
type Say = (offset: number, sentence: Sentence, path?: Path) => void;

/** Converts an offset to line and column, both from 1; a byte order mark takes no column. */
function positions(text: string): (offset: number) => { line: number; column: number } {
  const lines = new LineCounter();
  lines.addNewLine(0);
  for (let at = text.indexOf('\n'); at >= 0; at = text.indexOf('\n', at + 1))
    lines.addNewLine(at + 1);
  const mark = text.startsWith('\uFEFF') ? 1 : 0;
  return (offset) => {
    const { line, col } = lines.linePos(offset);
    return { line, column: line === 1 ? Math.max(1, col - mark) : col };
  };
}

/** The library's `parseDocument`, but for a text that is already split into lexemes. */
function parseLexemes(lexemes: readonly string[], length: number): Document.Parsed {
  const parser = new Parser();
  const composer = new Composer({
    version: '1.2',
    schema: 'core',
    prettyErrors: false,
    uniqueKeys: false, // checked below, in linear time
    stringKeys: true,
  });
  const tokens: CST.Token[] = [];
  for (const lexeme of lexemes) for (const token of parser.next(lexeme)) tokens.push(token);
  for (const token of parser.end()) tokens.push(token);
  const [first, second] = composer.compose(tokens, true, length);
  if (second) {
    const [from, to] = second.range;
    const error = new YAMLParseError([from, to], 'MULTIPLE_DOCS', 'more than one document');
    first!.errors.push(error);
  }
  // The composer always gives a document, even for an empty text.
  return first as Document.Parsed;
}

/** A key `<<`, which other programs read as more keys. */
export const MERGE_KEY: Sentence = [
  'merge keys (<<) are not supported',
  'write the keys out',
  'yaml.merge-key',
];
const NO_SPACE = 'a space is missing after the colon';

/**
 * A text that is not YAML because of something like `kind:lamp`, read as if it had the missing space;
 * undefined if that does not help.
 */
function withSpaces(text: string, { errors }: Document.Parsed): PropText | undefined {
  const places: { offset: number; from: number; key: string; value: string }[] = [];
  const meant = text.replaceAll(
    /^([ ]*(?:- +)*)([A-Za-z_][\w-]*):(?=[^\s:/\\])(.*)$/gm,
    (line, before: string, key: string, value: string, at: number) => {
      const from = at + before.length;
      places.push({ offset: from + places.length, from, key, value: value.trimEnd() });
      return `${before}${key}: ${line.slice(before.length + key.length + 1)}`;
    },
  );
  if (places.length === 0) return undefined;
  const read = readText(meant);
  const left = read.document?.errors.length ?? Number.POSITIVE_INFINITY;
  if (left >= errors.length) return undefined;
  const position = positions(meant);
  /** By line, the column after the colon. */
  const put = new Map<number, number>();
  const said = places.map(({ offset, from, key, value }): Finding => {
    const right = `write ${key}: ${excerpt(value)}`;
    const at = position(offset);
    put.set(at.line, at.column + key.length);
    const behind = from + key.length + 1;
    const fix: Fix = { cut: [behind, behind], text: ' ' };
    return { severity: 'error', ...at, path: WHOLE_FILE, wrong: NO_SPACE, right, fix };
  });
  const back = ({ fix, ...finding }: Finding): Finding => ({
    ...finding,
    column:
      finding.column -
      (finding.column > (put.get(finding.line) ?? Number.POSITIVE_INFINITY) ? 1 : 0),
    // Offsets in this text are not valid in the other.
    ...(fix && !('cut' in fix) && { fix }),
  });
  return {
    ...read,
    text,
    mended: true,
    findings: [...said, ...read.findings.map(back)],
    place: (remark) => back(read.place(remark)),
  };
}

/** Tabs in the indentation are one mistake, on however many lines. */
function explainTabs(text: string, errors: readonly YAMLError[]): [offset: number, Sentence] {
  const offset = errors.find(({ code }) => code === 'TAB_AS_INDENT')!.pos[0];
  const lines = text.slice(offset).match(/^ *\t[ \t]*\S/gm)?.length ?? 1;
  const more =
    lines > 1 ? ` (here, and on ${lines - 1} more ${lines === 2 ? 'line' : 'lines'})` : '';
  return [offset, [`a tab in the indentation${more}`, 'indent with spaces']];
}

/** Where the nesting becomes too deep for the YAML library; undefined if it does not. */
function findTooDeep(lexemes: readonly string[]): number | undefined {
  let offset = 0;
  let flow = 0;
  let inLine = 0;
  let lineStart = true;
  let before = '';
  for (const token of lexemes) {
    // The lexer's own marks are not part of the text; \x1f means that a plain scalar follows.
    if (token === '\x02' || token === '\x18' || token === '\x1f') {
      before = token;
      continue;
    }
    if (before !== '\x1f') {
      if (token === '[' || token === '{') flow++;
      else if (token === ']' || token === '}') flow--;
      else if (token === '-' || token === '?') inLine++;
      const indent = lineStart && token.startsWith(' ') ? token.length : 0;
      if (flow > MAX_DEPTH || inLine > MAX_DEPTH || indent > MAX_INDENT) return offset;
    }
    lineStart = token.endsWith('\n');
    if (lineStart) inLine = 0;
    before = token;
    offset += token.length;
  }
  return undefined;
}

/**
 * Reports duplicate keys and bad aliases, and finds the node of each alias: the last node before it with
 * its anchor (YAML 1.2.2, section 3.2.2.2).
 */
class Check {
  readonly #aliases: Map<Alias, Node>;
  readonly #say: Say;
  readonly #anchors = new Map<string, Node>();
  /** The nodes around this one, and the keys that lead through them. */
  readonly #ancestors: unknown[] = [];
  readonly #path: (string | number)[] = [];
  #count = 0;
  /** Maps that contain a merge: merging those as well could double the data without limit. */
  readonly #merged = new WeakSet<object>();
  /** The data was mended. */
  mended = false;

  constructor(aliases: Map<Alias, Node>, say: Say) {
    this.#aliases = aliases;
    this.#say = say;
  }

  /** False when the data cannot be built. Nesting is already limited. */
  node(node: unknown): boolean {
    if (isAlias(node)) return this.#alias(node);
    const { anchor } = (node ?? {}) as { anchor?: string };
    if (anchor !== undefined) this.#anchors.set(anchor, node as Node);
    if (isMap(node)) return this.#map(node);
    if (!isSeq(node)) return true;
    let sound = true;
    this.#ancestors.push(node);
    for (let i = 0; i < node.items.length && this.#count <= MAX_ALIASES; i++) {
      this.#path.push(i);
      if (!this.node(node.items[i])) sound = false;
      this.#path.pop();
    }
    this.#ancestors.pop();
    return sound;
  }

  #map(map: YAMLMap): boolean {
    this.#mend(map);
    const seen = new Set<string>();
    for (const { key } of map.items) {
      const name = keyText(key);
      if (seen.has(name))
        this.#atKey(key, ['this key is given twice', 'keep one', 'yaml.duplicate-key']);
      // JavaScript treats this key in a special way, so the schema never sees it.
      if (name === '__proto__') this.#atKey(key, ['is not a name', 'rename it']);
      seen.add(name);
    }
    let sound = true;
    this.#ancestors.push(map);
    for (const { key, value } of map.items) {
      if (this.#count > MAX_ALIASES) break;
      if (!this.node(key)) sound = false;
      this.#path.push(keyText(key));
      if (!this.node(value)) sound = false;
      this.#path.pop();
    }
    this.#ancestors.pop();
    return sound;
  }

  /** Corrects obvious slips and reports them, so that no other finding follows from them. */
  #mend(map: YAMLMap): void {
    for (let i = 0; i < map.items.length; i++) {
      const { key, value } = map.items[i]!;
      if (!isScalar(key)) continue;
      const name = keyText(key);
      if (name === '<<') {
        const sources = this.#mergeSources(value);
        if (!sources) continue;
        this.#atKey(key, MERGE_KEY);
        const own = new Set(map.items.map((pair) => keyText(pair.key)));
        const added = sources
          .flatMap(({ items }) => items as Pair[])
          .filter((pair) => {
            const fresh = !own.has(keyText(pair.key));
            own.add(keyText(pair.key));
            return fresh;
          });
        map.items.splice(i, 1, ...added.map((pair) => new Pair(pair.key, pair.value)));
        i += added.length - 1;
        for (const one of [map, ...this.#ancestors]) this.#merged.add(one as object);
        this.mended = true;
        continue;
      }
      if (!isNothing(value)) continue;
      const [, first, rest] = /^([A-Za-z_][\w-]*):(\S.*)$/.exec(name) ?? [];
      if (first !== undefined && rest !== undefined) {
        const at = (key.range?.[0] ?? 0) + first.length + 1;
        const fix: Fix | undefined =
          key.type === 'PLAIN' && key.range ? { cut: [at, at], text: ' ' } : undefined;
        this.#atKey(key, [NO_SPACE, `write ${first}: ${excerpt(rest)}`, undefined, fix], first);
        key.value = first;
        map.items[i]!.value = scalarOf(rest, key);
        this.mended = true;
        continue;
      }
      const before = map.items[i - 1];
      const number = isScalar(before?.value) ? before.value.value : undefined;
      if (!before || !Number.isInteger(number) || !/^\d+$/.test(name)) continue;
      const sign = Object.is(number, -0) ? '-' : '';
      const decimal = `${sign}${number}.${name}`;
      const of = keyText(before.key);
      const wrong = `${number},${name} has a comma where a decimal point belongs`;
      const [from, end] = [(before.value as Scalar).range, key.range];
      const fix: Fix | undefined =
        from && end && end[0] === from[1] + 1
          ? { cut: [from[0], end[1]], text: decimal }
          : undefined;
      this.#atKey(before.value, [wrong, `write ${decimal}`, undefined, fix], of);
      (before.value as Scalar).value = Number(decimal);
      map.items.splice(i--, 1);
      this.mended = true;
    }
  }

  /** The maps that a merge key names; undefined if they cannot be merged here. */
  #mergeSources(value: unknown): YAMLMap[] | undefined {
    const nodes = isSeq(value) ? value.items : [value];
    const maps = nodes.map((node) => (isAlias(node) ? this.#anchors.get(node.source) : node));
    const sound = maps.every(
      (one) => isMap(one) && !this.#ancestors.includes(one) && !this.#merged.has(one),
    );
    return sound && maps.length <= 10 ? (maps as YAMLMap[]) : undefined;
  }

  #atKey(key: unknown, sentence: Sentence, name = keyText(key)): void {
    const offset = (key as Node).range?.[0] ?? 0;
    this.#say(offset, sentence, [...this.#path, name]);
  }

  #alias(alias: Alias): boolean {
    const offset = alias.range?.[0] ?? 0;
    if (++this.#count > MAX_ALIASES) {
      const wrong = `more than ${MAX_ALIASES} aliases (*name)`;
      this.#say(offset, [wrong, 'write the values out', 'yaml.alias']);
      return false;
    }
    const source = this.#anchors.get(alias.source);
    if (source && !this.#ancestors.includes(source)) {
      this.#aliases.set(alias, source);
      return true;
    }
    const why = source ? 'stands inside itself' : `has no anchor &${alias.source} before it`;
    const wrong = `the alias *${alias.source} ${why}`;
    this.#say(offset, [wrong, 'write the value out', 'yaml.alias']);
    return false;
  }
}

/** As the library's `toJS`, for nodes without aliases. */
function plainData(node: unknown): unknown {
  if (isScalar(node)) return node.value;
  if (isMap(node)) {
    const map: Record<string, unknown> = {};
    for (const { key, value } of node.items) {
      const name = keyText(key);
      const data = plainData(value);
      if (name === '__proto__')
        Object.defineProperty(map, name, {
          value: data,
          writable: true,
          enumerable: true,
          configurable: true,
        });
      else map[name] = data;
    }
    return map;
  }
  return isSeq(node) ? node.items.map(plainData) : node;
}

/** Whether there is nothing there. */
function isNothing(value: unknown): boolean {
  return value === null || (isScalar(value) && value.value === null && !value.source);
}

/** The scalar that the parser would have read. */
function scalarOf(text: string, at: Scalar): Scalar {
  const document = parseLexemes([...new Lexer().lex(text)], text.length);
  const value = isScalar(document.contents) ? document.contents.value : text;
  const scalar = new Scalar(value);
  if (at.range) scalar.range = at.range;
  return scalar;
}

function keyText(key: unknown): string {
  return isScalar(key) ? String(key.value) : String(key);
}

const BARE_COLOUR: Sentence = [
  'an unquoted # starts a comment',
  'quote the colour, e.g. "#000000"',
];

/** Offsets of what looks like a colour with an unquoted #. */
function* bareColours(text: string): Generator<number> {
  for (const match of text.matchAll(/^[^#\n\r\u2028\u2029"']*[:,[][ \t]+(?=#[0-9a-f]{3,8}\b)/gim))
    yield match.index + match[0].length;
}

const NOT_YAML = 'correct the YAML here; quote text that contains special characters';
/** Longest message (characters): the library's may quote a whole document. */
const MAX_MESSAGE = 120;

function explainSyntax(error: YAMLError): Sentence {
  const said = error.message.replaceAll(';', ',').replace(/\s+/g, ' ').slice(0, MAX_MESSAGE);
  const wrong = said.charAt(0).toLowerCase() + said.slice(1);
  switch (error.code) {
    case 'TAB_AS_INDENT':
      return ['a tab in the indentation', 'indent with spaces'];
    case 'MULTIPLE_DOCS':
      return [
        'a second document begins here, after a line of --- or ...',
        'keep one prop in a file, and its end line (...) below everything else',
      ];
    case 'BAD_INDENT':
      return [wrong, 'check the indentation and the brackets, here and on the lines above'];
    case 'MISSING_CHAR':
      return [wrong, 'add what is missing, here or on a line above'];
    case 'BAD_ALIAS':
      return [wrong, NOT_YAML, 'yaml.alias'];
    case 'TAG_RESOLVE_FAILED':
      return [wrong, 'remove the tag (!)'];
    case 'NON_STRING_KEY':
      return ['a key that is not a word', 'use a plain word before the colon'];
    default:
      return [wrong, NOT_YAML];
  }
}

/** Finds paths in a document; keeps an index of every map it passes. */
class Places {
  readonly #aliases: ReadonlyMap<Alias, Node>;
  #indexes = new WeakMap<YAMLMap, Map<string, Pair>>();

  constructor(aliases: ReadonlyMap<Alias, Node>) {
    this.#aliases = aliases;
  }

  /**
   * The offset of the value at `path`; for a block map or list that of its key, for a missing value that
   * of the map that lacks it.
   */
  offset(document: Document.Parsed | undefined, path: Path, atKey: boolean): number {
    let node: unknown = document?.contents;
    let key: number | undefined;
    const here = (): number => {
      const range = (node as Node | null | undefined)?.range;
      const block = (isMap(node) || isSeq(node)) && !node.flow;
      if (key !== undefined && (!range || block || range[0] === range[1])) return key;
      return range?.[0] ?? 0;
    };
    let at = here();
    for (const step of path) {
      if (isAlias(node)) node = this.#aliases.get(node);
      if (isMap(node)) {
        const pair = this.#index(node).get(String(step));
        if (!pair) return at;
        node = pair.value;
        key = (pair.key as Node).range?.[0];
      } else if (isSeq(node) && typeof step === 'number' && step < node.items.length) {
        node = node.items[step];
        key = undefined;
      } else {
        return at;
      }
      at = here();
    }
    return atKey && key !== undefined ? key : at;
  }

  #index(map: YAMLMap): Map<string, Pair> {
    let index = this.#indexes.get(map);
    if (!index) {
      index = new Map(map.items.map((pair) => [keyText(pair.key), pair]));
      this.#indexes.set(map, index);
    }
    return index;
  }
}
