import type { JournalEntry } from '../api/types.ts';
import { sha256 } from '../shared/sealed-file.ts';

/**
 * The journal on the disk: files of lines in `DIR/journal`, each line with a digest of itself, so that
 * whatever a power cut, a full disk or a bad sector left of a line is known, and that line alone is dropped.
 */

/** The format of these files. A file of a higher one is left as it is. */
export const JOURNAL_FORMAT = 1;

/** One line. */
export type JournalLine =
  /** The first of every file. */
  | { format: number }
  | { entry: JournalEntry }
  /** So many entries could not be kept before the next one. */
  | { lost: number; why: string }
  /** The daemon ended as it should: nothing up to this number is missing. */
  | { whole: number };

const DIGEST_LENGTH = 8;

/** A line with its digest and its end. */
export function textOfLine(line: JournalLine): string {
  const json = JSON.stringify(line);
  return `${sha256(json).slice(0, DIGEST_LENGTH)} ${json}\n`;
}

/** What is in a file, in its order. */
export interface ReadLines {
  lines: JournalLine[];
  /** How many lines are not whole. */
  damaged: number;
  /** Whether what comes next begins a line. */
  ends: boolean;
  /** A newer program wrote it: nothing was read. */
  newer: boolean;
}

/** Reads the text of a file. Never throws. */
export function readLines(text: string): ReadLines {
  const read: ReadLines = {
    lines: [],
    damaged: 0,
    ends: text === '' || text.endsWith('\n'),
    newer: false,
  };
  for (const one of text.split('\n')) {
    if (one === '') continue;
    const line = lineOf(one);
    if (!line) read.damaged++;
    else if (isNewer(line)) return { lines: [], damaged: 0, ends: true, newer: true };
    else read.lines.push(line);
  }
  return read;
}

/**
 * As `readLines`; but where the last line says that the daemon ended as it should, only the lines from the last
 * entry on: what is before them need not be checked to go on.
 */
export function readEnd(text: string): ReadLines {
  const texts = text.split('\n').filter((one) => one !== '');
  const [first, last] = [lineOf(texts[0] ?? ''), lineOf(texts.at(-1) ?? '')];
  if (!first || isNewer(first) || !last || !('whole' in last)) return readLines(text);
  const lines: JournalLine[] = [last];
  for (let i = texts.length - 2; i >= 0 && !('entry' in lines[0]!); i--) {
    const line = lineOf(texts[i]!);
    if (line) lines.unshift(line);
  }
  return { lines, damaged: 0, ends: text.endsWith('\n'), newer: false };
}

const isNewer = (line: JournalLine): boolean => 'format' in line && line.format > JOURNAL_FORMAT;

function lineOf(text: string): JournalLine | undefined {
  const json = text.slice(DIGEST_LENGTH + 1);
  if (text.slice(0, DIGEST_LENGTH) !== sha256(json).slice(0, DIGEST_LENGTH)) return undefined;
  try {
    const line = JSON.parse(json) as JournalLine;
    return typeof line === 'object' && line !== null ? line : undefined;
  } catch {
    return undefined;
  }
}

const NAME = /^(\d{6,})\.log$/;

/** The name of the file with that number. */
export function fileName(number: number): string {
  return `${String(number).padStart(6, '0')}.log`;
}

/** The numbers of the files of a journal among the names in its folder, oldest first. */
export function fileNumbers(names: readonly string[]): number[] {
  return names
    .map((name) => Number(NAME.exec(name)?.[1] ?? Number.NaN))
    .filter((number) => Number.isSafeInteger(number))
    .sort((a, b) => a - b);
}
