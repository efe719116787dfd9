import { MAX_EDITS } from '../prop/edit-limit.ts';
import type { Edit } from '../prop/edit-text.ts';
import { NotAlone } from '../prop/edit-text.ts';
import type { Finding, Path } from '../prop/finding.ts';
import { servoOf } from '../prop/kinds/channel.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { editProp, type Loaded } from '../prop/load.ts';
import { Loom } from '../prop/loom.ts';
import type { Prop } from '../prop/schema.ts';
import { proposeWiring } from '../proposal/wiring.ts';
import { add } from './add.ts';
import type { Change } from './change.ts';
import { Draft, named, type Reason, refuse } from './draft.ts';
import { move, order } from './move.ts';
import { remove } from './remove.ts';
import { rename } from './rename.ts';

/** Plans changes of the parts of a prop as small edits of its file. Pure: nothing is written here. */

export interface Plan {
  /** For `prop.apply`, in this order. */
  edits: Edit[];
  /** What else in the file changes with it, in words: `cue wake, step 3`. */
  touches: string[];
  /** What was chosen for the person, and why. */
  reasons: Reason[];
  /** What a person has to know, or to do with their hands, before or after. */
  cautions: string[];
  /** What check would say of the result and does not say now; none of them is an error. */
  findings: Finding[];
  after: Loaded;
}

/**
 * @param loaded a file without errors
 * @throws Refusal `change.refused` that names the places and the remedy; `file.has-errors`
 */
export function planChange(loaded: Loaded, change: Change): Plan {
  const draft = new Draft(loaded);
  switch (change.do) {
    case 'add':
      add(draft, change);
      break;
    case 'rename':
      rename(draft, change);
      break;
    case 'move':
      move(draft, change);
      break;
    case 'order':
      order(draft, change);
      break;
    case 'remove':
      remove(draft, change);
  }
  if (change.do === 'add' && (change.what === 'channel' || change.what === 'sense'))
    wire(draft, loaded, change);
  limp(draft, change);
  const { edits, touches, reasons, cautions } = draft;
  if (edits.length > MAX_EDITS)
    refuse(
      `${edits.length} places of the file would change, and one change may have ${MAX_EDITS}; use an editor`,
      [],
    );
  const after = edited(loaded, edits);
  const findings = newFindings(loaded, after, change);
  const error = findings.find(({ severity }) => severity === 'error');
  if (error)
    refuse(
      `the file would be wrong in line ${error.line}: ${error.path}: ${error.wrong}; ${error.right}`,
      [error.path],
    );
  return { edits, touches, reasons, cautions, findings, after };
}

/** The boards of changed channels are opened again: their pulses stop for a moment. */
function limp({ prop, cautions }: Draft, change: Change): void {
  if (change.what !== 'channel') return;
  const holding = Object.entries(prop.channels)
    .filter(([, spec]) => servoOf(spec)?.park.then === 'hold')
    .map(([name]) => name);
  if (holding.length > 0)
    cautions.push(
      `While it takes effect the boards start again, and servos that hold at rest let go until the next wake: ${named(holding)}. Prop up what could fall.`,
    );
}

/** What length a new cable is proposed with (m); a person measures it. */
const CABLE_M = 0.5;

/** In a file whose loom is complete, a new channel or contact gets its wires as well. */
function wire(
  draft: Draft,
  loaded: Loaded,
  { what, name }: { what: 'channel' | 'sense'; name: string },
): void {
  const wishes = { lengthM: CABLE_M };
  const { prop, raw } = loaded;
  if (!new Loom(prop!).hasWiring) return;
  const next = edited(loaded, draft.edits);
  // What has no pin has no wire from a board.
  if (next.prop && !hasPin(next.prop, what, name)) return;
  const complete = proposeWiring(prop!, raw, wishes).edits.length === 0;
  if (!complete || !next.prop) {
    draft.cautions.push(`${name} has no wire in the file yet. The loom proposes one.`);
    return;
  }
  const { edits, added, left } = proposeWiring(next.prop, next.raw, wishes);
  draft.cautions.push(...left);
  // What would lead nowhere is not added either.
  const isOwn = (path: Path) =>
    what === 'channel' ? path[1] === name && path[2] === 'wire' : path[0] === 'wires';
  if (!edits.some(({ path }) => isOwn(path))) return;
  draft.edits.push(...edits);
  for (const { what, why } of added) draft.because(what, '', why);
}

function hasPin({ channels, senses }: Prop, what: 'channel' | 'sense', name: string): boolean {
  if (what === 'sense') return senses[name]!.kind === 'contact';
  const channel = channels[name]!;
  return kindOf(channel).outputs(channel).length > 0;
}

function edited(loaded: Loaded, edits: readonly Edit[]): Loaded {
  try {
    return editProp(loaded, edits);
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    const line = error instanceof NotAlone ? `line ${error.line}: ` : '';
    return refuse(`${line}${error.message}`, []);
  }
}

/** What check says only of the result; the same under another name is not new. */
function newFindings(before: Loaded, after: Loaded, change: Change): Finding[] {
  const back = (text: string) =>
    change.do === 'rename'
      ? text.replaceAll(
          new RegExp(`(?<![\\w-])${change.to.replace(/\W/g, '\\$&')}(?![\\w-])`, 'g'),
          change.name,
        )
      : text;
  const key = ({ severity, wrong, path }: Finding, as: (text: string) => string) =>
    [severity, as(wrong), as(path).replaceAll(/\[\d+\]/g, '[]')].join('\n');
  const known = new Map<string, number>();
  const same = (text: string) => text;
  for (const one of before.findings) {
    const text = key(one, same);
    known.set(text, (known.get(text) ?? 0) + 1);
  }
  return after.findings.filter((one) => {
    const text = [key(one, same), key(one, back)].find((each) => (known.get(each) ?? 0) > 0);
    if (text === undefined) return true;
    known.set(text, known.get(text)! - 1);
    return false;
  });
}
