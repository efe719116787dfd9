import { batch, signal } from '@preact/signals';
import { RpcError } from '../../api/client.ts';
import type { Params, Result } from '../../api/methods.ts';
import { forPeople } from './for-people.ts';
import { call } from './link.ts';
import { write } from './store.ts';

/** The parts of the prop as the file has them, and what is planned with them. */

export type Change = Params<'prop.plan'>['change'];
export type Plan = Result<'prop.plan'>;
export type Data = Record<string, unknown>;
type Edits = NonNullable<Params<'prop.apply'>['edits']>;

export const file = signal<Result<'prop.data'> | undefined>(undefined);
/** Why nothing can be shown. */
export const problem = signal('');
/** What was done last, or why not. */
export const said = signal('');
/** What a person is asked to look through before it is done. */
export const review = signal<{ title: string; plan: Plan } | undefined>(undefined);
/** The change that can be undone, with the versions before and after it. */
export const last = signal<{ what: string; before: string; after: string } | undefined>(undefined);
/** Something is being asked or written. */
export const busy = signal(false);

/** What each key of a kind of channel, or of an entry, means: by its path in the key reference. */
export const meanings = signal<Record<string, { about?: string | undefined; form: string }>>({});

/** Whether it has keys of its own. */
export const isMap = (value: unknown): value is Data =>
  typeof value === 'object' && value !== null && !Array.isArray(value);
/** Its keys; none of anything else. */
export const mapOf = (value: unknown): Data => (isMap(value) ? value : {});

/** A part of the prop file, such as `channels`. */
export function section(name: string): Data {
  return mapOf(file.value?.data[name]);
}

/** Reads the file again. */
export async function load(): Promise<void> {
  try {
    const read = await call('prop.data', {});
    batch(() => {
      file.value = read;
      problem.value = '';
    });
  } catch (error) {
    problem.value = forPeople((error as Error).message);
  }
}

const learnt = new Set<string>();

/** Asks once what the keys at a path mean. */
export async function learn(path: string): Promise<void> {
  if (learnt.has(path)) return;
  learnt.add(path);
  try {
    const { key } = await call('prop.explain', { key: path });
    if (!key) return;
    const all = { ...meanings.peek() };
    for (const { name, about, form } of key.keys) all[`${path}.${name}`] = { about, form };
    meanings.value = all;
  } catch {
    learnt.delete(path);
  }
}

/** Asks what a change takes, and shows it. */
export async function plan(title: string, change: Change): Promise<void> {
  if (busy.value || !file.value) return;
  busy.value = true;
  said.value = '';
  try {
    const planned = await call('prop.plan', { change, version: file.value.version });
    review.value = { title, plan: planned };
  } catch (error) {
    review.value = undefined;
    said.value = forPeople((error as Error).message);
    if (isOther(error)) await load();
  } finally {
    busy.value = false;
  }
}

function isOther(error: unknown): boolean {
  return error instanceof RpcError && error.data?.code === 'file.other-version';
}

/** Writes edits to the file. @returns whether they were written */
export async function apply(what: string, edits: Edits, version = file.value?.version ?? '') {
  if (busy.value) return false;
  busy.value = true;
  said.value = '';
  try {
    const done = await write(what, 'prop.apply', { edits, version });
    if (done) {
      last.value = { what, before: version, after: done.version };
      said.value = `Done: ${what}.${done.pending ? ' It waits until the prop is parked.' : ''}`;
      review.value = undefined;
    } else said.value = 'Nothing was changed; the reason stands above.';
    await load();
    return done !== undefined;
  } finally {
    busy.value = false;
  }
}

/** Puts the last change back, unless somebody has changed the file since. */
export async function undo(): Promise<void> {
  const change = last.value;
  if (!change || busy.value) return;
  busy.value = true;
  try {
    const { what, before, after } = change;
    const done = await write(`undo: ${what}`, 'prop.restore', { version: before, base: after });
    if (!done) {
      // Refused where somebody has changed the file since: what was before is in the history.
      said.value = 'Nothing was undone; the reason stands above.';
      return;
    }
    last.value = undefined;
    said.value = `Undone: ${what}.${done.pending ? ' It waits until the prop is parked.' : ''}`;
  } catch (error) {
    said.value = forPeople((error as Error).message);
  } finally {
    busy.value = false;
    await load();
  }
}
