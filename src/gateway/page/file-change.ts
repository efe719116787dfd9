import { signal } from '@preact/signals';
import type { Params, Result } from '../../api/methods.ts';
import { write } from './store.ts';

/** Changes of the prop file that are made from this page, and the way back. */

export type Edits = NonNullable<Params<'prop.apply'>['edits']>;
export type Written = Result<'prop.apply'>;

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
 * Writes edits that were worked out for the version `before`; undefined where they were refused, which the
 * page shows.
 * @param what in words: `speedDegS of beak`
 */
export async function writeEdits(
  what: string,
  edits: Edits,
  before: string,
): Promise<Written | undefined> {
  const result = await write(what, 'prop.apply', { edits, version: before });
  if (result) lastChange.value = { what, before, after: result.version };
  return result;
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
