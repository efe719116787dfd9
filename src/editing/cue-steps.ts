import { isMap, isSeq, type YAMLMap, type YAMLSeq } from 'yaml';
import type { CueChange } from '../prop/cue-change.ts';
import {
  applyEdits,
  changed,
  contentEnd,
  type Edit,
  flow,
  itemLines,
  NotAlone,
  newlineOf,
  nextLine,
  sameData,
  withComments,
} from '../prop/edit-text.ts';
import { type Path, pathText } from '../prop/finding.ts';
import { checkProp, type Loaded } from '../prop/load.ts';
import { type PropText, readText } from '../prop/text.ts';
import { Refusal } from '../shared/errors.ts';
import { matchSteps } from './match-steps.ts';
import { cueUses } from './references.ts';

/**
 * Other steps for a cue, as changes of the characters concerned: an unchanged step keeps its text, a
 * changed one its comments and all keys that were not changed, and so does a step that went elsewhere.
 */

type Step = Record<string, unknown>;
type Data = Record<string, unknown>;

/**
 * The file with the change made, and checked; `loaded` itself when nothing changes.
 * @param loaded a file without errors
 * @throws Refusal `cue.unknown`, `cue.in-use`, `cue.no-such-steps`, `file.cannot-edit`
 */
export function cueChanged(loaded: Loaded, change: CueChange): Loaded {
  const { source, file } = loaded;
  try {
    const next = cueText(source!, change);
    return next === source ? loaded : checkProp(next, file);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    const known = error instanceof NotAlone ? error : undefined;
    const place = known ? `${file}:${known.line}` : file;
    throw new Refusal('file.cannot-edit', `${place}: ${error.message}`, {
      file,
      ...(known && { line: known.line, path: pathText(known.path) }),
    });
  }
}

/**
 * The text with the change made, not checked; `source` itself when nothing changes.
 * @throws Refusal as `cueChanged`; NotAlone or another RangeError where the text cannot be edited
 */
export function cueText(source: PropText, change: CueChange): PropText {
  if (change.steps === undefined) return removed(source, change.cue);
  return saved(source, change.cue, wholeSteps(source.raw, change));
}

/** The steps of a cue as the file has them, and their path; undefined where there is no such cue. */
export function stepsOf(raw: unknown, cue: string): { path: Path; steps: Step[] } | undefined {
  const cues = ((raw as Data | undefined)?.cues ?? {}) as Data;
  if (!Object.hasOwn(cues, cue)) return undefined;
  const entry = cues[cue];
  if (Array.isArray(entry)) return { path: ['cues', cue], steps: entry };
  const { steps } = (entry ?? {}) as { steps?: Step[] };
  return { path: ['cues', cue, 'steps'], steps: Array.isArray(steps) ? steps : [] };
}

/**
 * All steps of the cue after the change.
 * @throws Refusal `cue.no-such-steps`
 */
export function wholeSteps(raw: unknown, { cue, steps = [], from, count }: CueChange): Step[] {
  if (from === undefined || count === undefined) return plain(steps);
  const own = stepsOf(raw, cue)?.steps ?? [];
  if (from + count > own.length)
    throw new Refusal(
      'cue.no-such-steps',
      `cue ${cue} has ${own.length} steps; steps ${from + 1} to ${from + count} of it cannot be replaced. Read it again (prop.data)`,
      { cue, steps: own.length },
    );
  return [...own.slice(0, from), ...plain(steps), ...own.slice(from + count)];
}

function plain(steps: readonly Step[]): Step[] {
  return JSON.parse(JSON.stringify(steps));
}

// --- removing ---------------------------------------------------------------------------------------

function removed(source: PropText, cue: string): PropText {
  const raw = source.raw as Data;
  const cues = (raw.cues ?? {}) as Data;
  if (!Object.hasOwn(cues, cue))
    throw new Refusal('cue.unknown', `there is no cue ${cue} in the prop file`, { cue });
  const uses = cueUses(raw, cue);
  if (uses.length > 0) {
    const shown = uses.slice(0, 6).join(', ');
    const more = uses.length > 6 ? ` and ${uses.length - 6} more` : '';
    throw new Refusal(
      'cue.in-use',
      `cue ${cue} is used by ${shown}${more}, so nothing was written; change that first`,
      { cue, places: uses },
    );
  }
  const only = Object.keys(cues).length === 1;
  return applyEdits(source, [{ path: only ? ['cues'] : ['cues', cue] }]);
}

// --- saving -----------------------------------------------------------------------------------------

function saved(source: PropText, cue: string, steps: Step[]): PropText {
  const own = stepsOf(source.raw, cue);
  if (!own) return added(source, cue, steps);
  if (sameData(own.steps, steps)) return source;
  const wanted = changed(source.raw, own.path, steps);
  const text = rewritten(source, own.path, own.steps, steps);
  if (text !== undefined) {
    const next = readText(text);
    if (saysExactly(next, wanted)) return next;
  }
  return oneByOne(source, own.path, own.steps, steps);
}

function saysExactly({ raw, findings }: PropText, wanted: unknown): boolean {
  return !findings.some(({ severity }) => severity === 'error') && sameData(raw, wanted);
}

/** A new cue: the last one of `cues:`, a line for each step. */
function added(source: PropText, cue: string, steps: Step[]): PropText {
  const wanted = changed(source.raw, ['cues', cue], steps);
  const text = addedText(source, cue, steps);
  if (text !== undefined) {
    const next = readText(text);
    if (saysExactly(next, wanted)) return next;
  }
  return applyEdits(source, [{ path: ['cues', cue], value: steps }]);
}

function addedText({ text, document }: PropText, cue: string, steps: Step[]): string | undefined {
  const root = document?.contents;
  if (!isMap(root) || root.flow || root.items.length === 0 || steps.length === 0) return undefined;
  const newline = newlineOf(text);
  const cues = entryOf(root, 'cues');
  const hasCues = isMap(cues) && !cues.flow && cues.items.length > 0;
  if (!hasCues && root.items.some(({ key }) => keyText(key) === 'cues')) return undefined;
  const indent = hasCues ? columnOf(text, startOf(cues.items[0]!.key)) : 2;
  const pad = ' '.repeat(indent);
  const lines = [
    ...(hasCues ? [] : ['', 'cues:']),
    `${pad}${flow(cue)}:`,
    ...steps.flatMap((step) => itemLines(step, indent + 2)),
  ];
  const end = nextLine(text, contentEnd(text, hasCues ? cues : root));
  const before = text.slice(0, end);
  const gap = before.endsWith('\n') ? '' : newline;
  return `${before}${gap}${lines.join(newline)}${newline}${text.slice(end)}`;
}

/** A step of the list with everything that stands on its lines. */
interface Block {
  /** Comment and empty lines above it. */
  lead: string;
  /** The comment lines right above it, a part of `lead`: they go where it goes. */
  own: string;
  lines: string;
  /** Its text within `lines`. */
  start: number;
  end: number;
  isFlow: boolean;
}

/** The text with other steps in the list; undefined where the list is written in another way. */
function rewritten(
  source: PropText,
  path: Path,
  before: readonly Step[],
  after: readonly Step[],
): string | undefined {
  const { text } = source;
  const list = nodeAt(source, path);
  if (!isSeq(list) || list.flow || list.items.length === 0 || after.length === 0) return undefined;
  const blocks = blocksOf(text, list);
  if (!blocks) return undefined;
  const newline = newlineOf(text);
  const indent = blocks[0]!.start - blocks[0]!.lines.lastIndexOf('-', blocks[0]!.start);
  const dash = columnOf(text, startOf(list.items[0])) - indent;
  const from = matchSteps(before, after);
  const kept = new Set(from);

  // What stands above a step that is gone stays, above what comes after it.
  const leads = blocks.map(({ lead }) => lead);
  const moved = movedOf(from);
  const put: string[] = [];
  let next = 0;
  /** The leads of gone and moved steps up to old step `until`. */
  const passTo = (until: number) => {
    for (; next < until; next++) {
      if (!kept.has(next)) put.push(leads[next]!);
      else if (moved.has(next)) put.push(withoutOwn(blocks[next]!));
    }
  };
  for (const [j, i] of from.entries()) {
    const step = after[j]!;
    if (i === -1) {
      put.push(
        ...freshLines(step, dash, blockStyle(blocks, from, j)).map((line) => line + newline),
      );
      continue;
    }
    const block = blocks[i]!;
    if (moved.has(i)) put.push(block.own);
    else {
      passTo(i);
      put.push(leads[i]!);
      next = i + 1;
    }
    const lines = sameData(before[i], step) ? block.lines : changedLines(block, before[i]!, step);
    if (lines === undefined) return undefined;
    put.push(lines.endsWith('\n') ? lines : lines + newline);
  }
  passTo(blocks.length);
  const start = startOfRegion(text, list);
  const end = nextLine(text, contentEnd(text, list));
  let region = put.join('');
  // A file that ended without a line break still does.
  if (end === text.length && !text.endsWith('\n')) region = region.replace(/\r?\n$/, '');
  return text.slice(0, start) + region + text.slice(end);
}

/** Old steps that come before another one now that they came after. */
function movedOf(from: readonly number[]): Set<number> {
  // What is not in a longest rising subsequence has moved.
  const tails: number[] = [];
  const previous = new Map<number, number>();
  const last: number[] = [];
  for (const i of from) {
    if (i === -1) continue;
    let low = 0;
    for (let high = tails.length; low < high; ) {
      const mid = (low + high) >> 1;
      if (tails[mid]! < i) low = mid + 1;
      else high = mid;
    }
    if (low > 0) previous.set(i, last[low - 1]!);
    tails[low] = i;
    last[low] = i;
  }
  const rising = new Set<number>();
  for (let i = last[tails.length - 1]; i !== undefined; i = previous.get(i)) rising.add(i);
  return new Set(from.filter((i) => i !== -1 && !rising.has(i)));
}

function startOfRegion(text: string, list: YAMLSeq): number {
  const first = lineStart(text, startOf(list.items[0]));
  return withComments(text, first);
}

function blocksOf(text: string, list: YAMLSeq): Block[] | undefined {
  const blocks: Block[] = [];
  let from = startOfRegion(text, list);
  for (const item of list.items) {
    const start = startOf(item);
    const begin = lineStart(text, start);
    // What shares a line with something else cannot be lifted out.
    if (!isMap(item) || begin < from || !/^ *-[ \t]+$/.test(text.slice(begin, start)))
      return undefined;
    const end = contentEnd(text, item);
    const stop = nextLine(text, end);
    const ownFrom = Math.max(from, withComments(text, begin));
    blocks.push({
      lead: text.slice(from, begin),
      own: text.slice(ownFrom, begin),
      lines: text.slice(begin, stop),
      start: start - begin,
      end: end - begin,
      isFlow: item.flow === true,
    });
    from = stop;
  }
  return blocks;
}

function withoutOwn({ lead, own }: Block): string {
  return lead.slice(0, lead.length - own.length);
}

/** Whether a new step is written over several lines, as the steps beside it are. */
function blockStyle(blocks: readonly Block[], from: readonly number[], j: number): boolean {
  for (let far = 1; far < from.length; far++)
    for (const at of [j - far, j + far]) {
      const i = from[at];
      if (i !== undefined && i !== -1) return !blocks[i]!.isFlow;
    }
  return !(blocks[0]?.isFlow ?? true);
}

function freshLines(step: Step, dash: number, inBlock: boolean): string[] {
  const pad = ' '.repeat(dash);
  if (!inBlock) return itemLines(step, dash);
  const lines = Object.entries(step).map(([key, value]) => `${flow(key)}: ${flow(value)}`);
  return lines.map((line, i) => `${pad}${i === 0 ? '- ' : '  '}${line}`);
}

/** The lines of a step with other values; undefined where that needs the whole text. */
function changedLines({ lines, start, end }: Block, before: Step, after: Step): string | undefined {
  // By itself, and with spaces in place of the dash, it is YAML too.
  const own = ' '.repeat(start) + lines.slice(start, end);
  const source = readText(own);
  if (!sameData(source.raw, before)) return undefined;
  try {
    const { text } = applyEdits(source, differences(before, after, []), newlineOf(lines));
    return lines.slice(0, start) + text.slice(start) + lines.slice(end);
  } catch (error) {
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/** The edits that make one piece of data of the other, each as deep as can be. */
function differences(before: Data, after: Data, path: Path): Edit[] {
  const edits: Edit[] = [];
  const isData = (value: unknown): value is Data =>
    typeof value === 'object' && value !== null && !Array.isArray(value);
  // What goes comes last: a map is never empty on the way.
  const gone = Object.keys(before).filter((key) => !Object.hasOwn(after, key));
  for (const [key, value] of Object.entries(after)) {
    const at = [...path, key];
    const was = Object.hasOwn(before, key) ? before[key] : undefined;
    if (sameData(was, value)) continue;
    if (isData(was) && isData(value) && Object.keys(value).length > 0)
      edits.push(...differences(was, value, at));
    else edits.push({ path: at, value });
  }
  for (const key of gone) edits.push({ path: [...path, key] });
  return edits;
}

/** For lists that are written in another way, or share something: edits that say why they cannot be made. */
function oneByOne(
  source: PropText,
  path: Path,
  before: readonly Step[],
  after: readonly Step[],
): PropText {
  const from = matchSteps(before, after);
  // Where an item goes depends on the others, so the order stays, as far as there is one.
  const inOrder = from.every((i, j) => i === -1 || !from.slice(0, j).some((one) => one > i));
  if (!inOrder || after.length === 0)
    return applyEdits(source, [{ path: [...path], value: after }]);
  const edits: Edit[] = [];
  for (const [j, i] of from.entries())
    if (i !== -1) edits.push(...differences(before[i]!, after[j]!, [...path, i]));
  const gone = before.map((_, i) => i).filter((i) => !from.includes(i));
  const left = before.length - gone.length;
  const fresh = [...from.entries()].filter(([, i]) => i === -1);
  // A list is never empty on the way.
  for (const [n, [j]] of fresh.entries())
    edits.push({ path: [...path, before.length + n], value: after[j] });
  for (const i of gone.reverse()) edits.push({ path: [...path, i] });
  for (const [n, [j]] of fresh.entries())
    if (left + n !== j) edits.push({ path: [...path, left + n], place: j });
  return applyEdits(source, edits);
}

// --- nodes ------------------------------------------------------------------------------------------

function keyText(key: unknown): string {
  return String((key as { value?: unknown } | null)?.value);
}

function entryOf(map: YAMLMap, name: string | number): unknown {
  return map.items.find(({ key }) => keyText(key) === String(name))?.value;
}

function nodeAt({ document }: PropText, path: Path): unknown {
  let node: unknown = document?.contents;
  for (const key of path) node = isMap(node) ? entryOf(node, key) : undefined;
  return node;
}

function startOf(node: unknown): number {
  return (node as { range: [number, number, number] }).range[0];
}

function lineStart(text: string, at: number): number {
  return text.lastIndexOf('\n', at - 1) + 1;
}

function columnOf(text: string, at: number): number {
  return at - lineStart(text, at);
}
