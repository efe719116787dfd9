import type { Finding, Fix } from './finding.ts';
import { editProp, type Loaded, parseProp } from './load.ts';

/** The remedies of findings that have just one, put into the text of a prop file. */

export interface Fixed {
  text: string;
  /** What each remedy was for, in their order. */
  done: Finding[];
  /** What is left to say about the text. */
  left: Finding[];
}

/** A remedy may let others come to light; more rounds than this are a fault of ours. */
const MAX_ROUNDS = 10;

/** The text with all sure remedies in it. Each is kept only if it leaves fewer findings than before. */
export function fixed(text: string, file: string): Fixed {
  let loaded = parseProp(text, file);
  const done: Finding[] = [];
  for (let round = 0; round < MAX_ROUNDS; round++) {
    const before = done.length;
    // From the end on, so that the places before stay as they are.
    const sure = loaded.findings.filter(({ fix }) => fix).reverse();
    const cuts = sure.filter(({ fix }) => fix && 'cut' in fix);
    for (const finding of cuts.length > 0 ? cuts : sure) {
      const next = withFix(loaded, finding.fix!);
      if (!next || next.findings.length >= loaded.findings.length) continue;
      done.push(finding);
      loaded = next;
    }
    if (done.length === before) break;
  }
  return { text: loaded.text, done, left: loaded.findings };
}

function withFix(loaded: Loaded, fix: Fix): Loaded | undefined {
  if ('cut' in fix) {
    const [from, to] = fix.cut;
    const { text, file } = loaded;
    return parseProp(text.slice(0, from) + fix.text + text.slice(to), file);
  }
  try {
    return editProp(loaded, [{ path: [...fix.path], value: fix.value }]);
  } catch (error) {
    // It cannot be edited alone, such as what an alias shares.
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/** The lines that differ, with `-` and `+`, and the numbers of those before; a few of context. */
export function difference(before: string, after: string): string[] {
  const a = before.split('\n');
  const b = after.split('\n');
  let from = 0;
  while (from < a.length && from < b.length && a[from] === b[from]) from++;
  let same = 0;
  while (
    same < a.length - from &&
    same < b.length - from &&
    a[a.length - 1 - same] === b[b.length - 1 - same]
  )
    same++;
  const [endA, endB] = [a.length - same, b.length - same];
  const lines: string[] = [];
  // As many lines as before: they are told one by one.
  if (endA === endB) {
    for (let i = from; i < endA; i++)
      if (a[i] !== b[i]) lines.push(`@@ line ${i + 1}`, `- ${a[i]}`, `+ ${b[i]}`);
    return lines;
  }
  lines.push(`@@ line ${from + 1}`);
  for (const line of a.slice(from, endA)) lines.push(`- ${line}`);
  for (const line of b.slice(from, endB)) lines.push(`+ ${line}`);
  return lines;
}
