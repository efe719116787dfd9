import { structuredPatch } from 'diff';

/** What two texts differ in, line by line. */

/** Lines that went and came at one place, with a few that stay around them. */
export interface Hunk {
  /** Its first line in the text before, and in the one after; from 1. */
  from: number;
  to: number;
  lines: HunkLine[];
}

export interface HunkLine {
  is: 'same' | 'gone' | 'new';
  text: string;
}

export interface LineDifference {
  hunks: Hunk[];
  /** Lines that are left out at the end, as there are too many to look at. */
  more: number;
  /** The texts have so little in common that it would take too long to find out. */
  unlike?: true;
}

/** Edits after which two texts are called unlike each other; it bounds the time and the memory. */
const MAX_EDITS = 2000;

/**
 * @param around lines that stay, before and after each change
 * @param maxLines of all hunks together
 */
export function lineDifference(
  before: string,
  after: string,
  around: number,
  maxLines = Number.POSITIVE_INFINITY,
): LineDifference {
  const patch = structuredPatch('', '', before, after, '', '', {
    context: around,
    maxEditLength: MAX_EDITS,
  });
  if (!patch) return { hunks: [], more: 0, unlike: true };
  const hunks: Hunk[] = [];
  let room = maxLines;
  let more = 0;
  for (const { oldStart, newStart, lines } of patch.hunks) {
    // The mark for a text that ends without a line end is not a line of that text.
    const all = lines.filter((line) => !line.startsWith('\\'));
    const shown = all.slice(0, room);
    room -= shown.length;
    more += all.length - shown.length;
    if (shown.length > 0)
      hunks.push({
        from: oldStart,
        to: newStart,
        lines: shown.map((line) => ({ is: KINDS[line[0]!]!, text: line.slice(1) })),
      });
  }
  return { hunks, more };
}

const KINDS: Record<string, HunkLine['is']> = { ' ': 'same', '-': 'gone', '+': 'new' };
const SIGNS: Record<HunkLine['is'], string> = { same: ' ', gone: '-', new: '+' };

/** The lines that differ, for a terminal. */
export function difference(before: string, after: string): string[] {
  return differenceText(lineDifference(before, after, 0));
}

/** For a terminal: each change with the line of the text before, at which it begins. */
export function differenceText({ hunks, more, unlike }: LineDifference): string[] {
  if (unlike) return ['the two texts are too unlike each other to be compared line by line'];
  const lines = hunks.flatMap((hunk) => [
    hunk.lines.every(({ is }) => is === 'new')
      ? `@@ after line ${hunk.from - 1}`
      : `@@ line ${hunk.from}`,
    ...hunk.lines.map(({ is, text }) => `${SIGNS[is]} ${text}`),
  ]);
  return more > 0 ? [...lines, `and ${more} more lines`] : lines;
}
