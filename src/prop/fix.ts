import type { Edit } from './edit-text.ts';
import type { Finding } from './finding.ts';
import { editProp, type Loaded, parseProp } from './load.ts';

/** Puts the remedies of findings that have only one into the text of a prop file. */

export interface Fixed {
  text: string;
  /** The findings that were fixed, in order. */
  done: Finding[];
  /** The findings that remain. */
  left: Finding[];
}

/** A remedy may reveal other findings; more rounds than this are a fault in Sinew. */
const MAX_ROUNDS = 10;
/**
 * If they cannot be made together, this many are tried one by one per round; each takes a check of the
 * file.
 */
const MAX_ALONE = 30;

/** The text with all certain remedies, as far as they leave fewer findings than before. */
export function fixed(text: string, file: string): Fixed {
  let loaded = parseProp(text, file);
  const done: Finding[] = [];
  for (let round = 0; round < MAX_ROUNDS; round++) {
    // From the end, so that earlier offsets stay valid.
    const sure = loaded.findings.filter(({ fix }) => fix).reverse();
    const cuts = sure.filter(({ fix }) => fix && 'cut' in fix);
    const some = cuts.length > 0 ? cuts : sure;
    const before = done.length;
    const all = withFixes(loaded, some);
    if (all && all.findings.length <= loaded.findings.length - some.length) {
      done.push(...some);
      loaded = all;
    } else {
      // At least one does not help, or cannot be made.
      for (const finding of some.slice(0, MAX_ALONE)) {
        const next = withFixes(loaded, [finding]);
        if (!next || next.findings.length >= loaded.findings.length) continue;
        done.push(finding);
        loaded = next;
      }
    }
    if (done.length === before) break;
  }
  return { text: loaded.text, done, left: loaded.findings };
}

/** @param sure the last one in the text first */
function withFixes(loaded: Loaded, sure: readonly Finding[]): Loaded | undefined {
  let { text } = loaded;
  const edits: Edit[] = [];
  for (const { fix } of sure)
    if (fix && 'cut' in fix) text = text.slice(0, fix.cut[0]) + fix.text + text.slice(fix.cut[1]);
    else if (fix) edits.push({ path: [...fix.path], value: fix.value });
  if (text !== loaded.text) return parseProp(text, loaded.file);
  try {
    return editProp(loaded, edits);
  } catch (error) {
    // It cannot be edited by itself, e.g. because an alias shares it.
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/**
 * The lines that differ, with `-` and `+`, and the old line number at which each piece begins. Of lines
 * that went and lines that came, the fewer are passed over until both texts agree again.
 */
export function difference(before: string, after: string): string[] {
  const old = before.split('\n');
  const now = after.split('\n');
  const lines: string[] = [];
  let [at, to] = [0, 0];
  let within = false;
  const say = (head: string, line: string) => {
    if (!within) lines.push(head);
    within = true;
    lines.push(line);
  };
  while (at < old.length || to < now.length) {
    if (at < old.length && old[at] === now[to]) {
      at++;
      to++;
      within = false;
      continue;
    }
    const came = now.indexOf(old[at]!, to) - to;
    const went = old.indexOf(now[to]!, at) - at;
    if (at < old.length && (came < 0 || (went >= 0 && went <= came)))
      say(`@@ line ${at + 1}`, `- ${old[at++]}`);
    else say(`@@ after line ${at}`, `+ ${now[to++]}`);
  }
  return lines;
}
