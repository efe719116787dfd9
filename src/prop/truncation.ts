/** YAML 1.2.2, section 9.1.2: a line of three dots ends a document. */
const END = /(?:^|\n)\.\.\.[ \t]*(?:#[^\n]*|\r)?(?:\n\s*)?$/;

/** A file that shares this many of its lines (share) with another counts as an edited version of it. */
const SAME_FILE = 0.9;

/**
 * Why `text` looks as if its end were missing (a full disk, a power cut, a broken copy), compared with
 * the complete version `known`; undefined if nothing suggests that.
 *
 * What is left of a truncated file may be valid: `speedDegS: 120` cut to `12`, a limit or a channel gone.
 * So the beginning of a known file does not count as a new version of it, and a file that ended with the
 * line `...` must still do so after an edit. That line also marks a file that was shortened on purpose.
 */
export function truncation(text: string, known: string): string | undefined {
  if (END.test(text)) return undefined;
  if (END.test(known) && isVersionOf(text, known))
    return 'its last line, the three dots (...), is missing';
  const [rest, whole] = [text.trimEnd(), known.trimEnd()];
  if (rest === whole || !whole.startsWith(rest)) return undefined;
  const lines = whole.slice(rest.length).split('\n').length;
  return `it is the beginning of the version that was in use, whose last ${lines} lines are missing, at least in part`;
}

function isVersionOf(text: string, known: string): boolean {
  const theirs = new Set(known.split('\n'));
  const own = text.split('\n').filter((line) => line.trim() !== '');
  return own.filter((line) => theirs.has(line)).length >= SAME_FILE * own.length;
}
