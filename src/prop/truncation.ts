/** YAML 1.2.2, section 9.1.2: a line of three dots ends a document. */
const END = /(?:^|\n)\.\.\.[ \t]*(?:#[^\n]*)?\s*$/;

/** A file that has so many of its lines (share) from another is held for an edited version of it. */
const SAME_FILE = 0.9;

/**
 * Why `text` looks as if its end were missing (a full disk, a power cut, a broken copy), measured
 * against the whole version `known`; undefined where nothing speaks for it.
 *
 * What is left of a cut file may well be valid: `speedDegS: 120` cut to `12`, a limit or a channel
 * gone. So the beginning of a known file is not taken for a new version of it, and one that ended with
 * the line `...` must go on doing so when it is edited. That line is also how to say that a file was
 * shortened on purpose.
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
