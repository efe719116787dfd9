import { signal } from '@preact/signals';
import type { Params, Result } from '../../api/methods.ts';
import { write } from './store.ts';

/** Changes of the prop file that are made from this page, and the way back. */

export type Edits = NonNullable<Params<'prop.apply'>['edits']>;
export type Written = Result<'prop.apply'>;

/** What writes to the prop file, and can be undone. */
type Writing =
  | 'cue.remove'
  | 'cue.save'
  | 'pose.capture'
  | 'prop.apply'
  | 'sound.add'
  | 'sound.follow'
  | 'sound.remove';

/** A change that was written, in words, with the versions before and after it. */
interface Change {
  what: string;
  before: string;
  after: string;
}

/** The one that this page wrote last. */
export const lastChange = signal<Change | undefined>(undefined);

/**
 * The last change, while it can be undone: once somebody has changed the file since, going back to the
 * version before would take that back as well.
 * @param present the version of the file on the disk, as far as the page knows
 */
export function undoable(present: string | undefined): Change | undefined {
  const change = lastChange.value;
  return change?.after === present ? change : undefined;
}

/**
 * Writes to the prop file what can be undone; undefined where it was refused, which the page shows.
 * @param what in words: `cue wink`
 * @param before the version of the file that it changes
 */
export async function writeChange<M extends Writing>(
  what: string,
  before: string,
  method: M,
  params: Params<M>,
): Promise<Result<M> | undefined> {
  const result = await write(what, method, params);
  if (result) lastChange.value = { what, before, after: result.version };
  return result;
}

/**
 * Writes edits that were worked out for the version `before`; undefined where they were refused, which the
 * page shows.
 * @param what in words: `speedDegS of beak`
 */
export function writeEdits(
  what: string,
  edits: Edits,
  before: string,
): Promise<Written | undefined> {
  return writeChange(what, before, 'prop.apply', { edits, version: before });
}

/** Takes the last change back; undefined where there is none, or somebody has changed the file since. */
export async function undoLast(): Promise<Written | undefined> {
  const change = lastChange.peek();
  if (!change) return undefined;
  const { what, before, after } = change;
  const to = { version: before, base: after };
  const result = await write(`the undo of ${what}`, 'prop.restore', to);
  if (result) lastChange.value = undefined;
  return result;
}
