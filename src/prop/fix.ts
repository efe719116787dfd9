import type { Edit } from './edit-text.ts';
import type { Finding } from './finding.ts';
import { editProp, type Loaded, parseProp } from './load.ts';

/** Puts the remedies of findings that have only one into the text of a prop file. */

export interface Fixed {
  text: string;
  /** All findings of the text before. */
  found: Finding[];
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

/**
 * The text with all certain remedies, as far as they leave fewer findings than before.
 * @param only of the findings of `text`, by their place in the list: no others, and none that they reveal
 */
export function fixed(text: string, file: string, only?: readonly number[]): Fixed {
  let loaded = parseProp(text, file);
  const found = loaded.findings;
  const chosen = only && new Set(only.map((at) => found[at]));
  const done: Finding[] = [];
  for (let round = 0; round < (only ? 1 : MAX_ROUNDS); round++) {
    // From the end, so that earlier offsets stay valid.
    const sure = loaded.findings
      .filter((finding) => finding.fix && (!chosen || chosen.has(finding)))
      .reverse();
    const cuts = sure.filter(({ fix }) => fix && 'cut' in fix);
    // Offsets of the others are not valid any more once some text is replaced, but their paths are.
    const some = cuts.length > 0 ? cuts : sure;
    const before = done.length;
    for (const group of only && cuts.length > 0
      ? [cuts, sure.filter((one) => !cuts.includes(one))]
      : [some])
      loaded = withGroup(loaded, group, done);
    if (done.length === before) break;
  }
  return { text: loaded.text, found, done, left: loaded.findings };
}

/** With as many of them as leave fewer findings. */
function withGroup(before: Loaded, group: readonly Finding[], done: Finding[]): Loaded {
  let loaded = before;
  if (group.length === 0) return loaded;
  const all = withFixes(loaded, group);
  if (all && all.findings.length <= loaded.findings.length - group.length) {
    done.push(...group);
    return all;
  }
  // At least one does not help, or cannot be made.
  for (const finding of group.slice(0, MAX_ALONE)) {
    const next = withFixes(loaded, [finding]);
    if (!next || next.findings.length >= loaded.findings.length) continue;
    done.push(finding);
    loaded = next;
  }
  return loaded;
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
