import { batch, computed, signal } from '@preact/signals';
import type { Params, Result } from '../../api/methods.ts';
import { type Edits, lastChange, undoLast, type Written, writeEdits } from './file-change.ts';
import { forPeople } from './for-people.ts';
import { call } from './link.ts';
import { FIRST_CONTROL } from './main-button.tsx';
import { isRefusal } from './refusal.ts';
import { holding } from './store.ts';

/** The parts of the prop as the file has them, and what is planned with them. */

export type Change = Params<'prop.plan'>['change'];
export type Plan = Result<'prop.plan'>;
export type Data = Record<string, unknown>;

export const file = signal<Result<'prop.data'> | undefined>(undefined);
/** Why nothing can be shown. */
export const problem = signal('');
/** What was done last, or why not. */
export const said = signal('');
/** What a person is asked to look through before it is done. */
export const review = signal<{ title: string; plan: Plan } | undefined>(undefined);
/** Something is being asked or written. */
export const busy = signal(false);
/** The file may be changed now. */
export const canWrite = computed(() => holding.value && !busy.value);

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
    if (isRefusal(error, 'file.other-version')) await load();
  } finally {
    busy.value = false;
  }
}

/** Writes one thing at a time, and says what became of it. @returns whether it was written */
async function writing(
  work: () => Promise<Written | undefined>,
  done: string,
  refused: string,
): Promise<boolean> {
  if (busy.value) return false;
  busy.value = true;
  said.value = '';
  try {
    const written = await work();
    const waits = written?.pending ? ' It waits until the prop is parked.' : '';
    said.value = written ? `${done}.${waits}` : `${refused}; the reason stands above.`;
    if (written) review.value = undefined;
    await load();
    return written !== undefined;
  } finally {
    busy.value = false;
  }
}

/** Writes edits to the file. @returns whether they were written */
export async function apply(
  what: string,
  edits: Edits,
  version = file.value?.version ?? '',
): Promise<boolean> {
  if (!holding.value) {
    said.value = FIRST_CONTROL;
    return false;
  }
  const write = () => writeEdits(what, edits, version);
  return writing(write, `Done: ${what}`, 'Nothing was changed');
}

/** Puts the last change back, unless somebody has changed the file since. */
export async function undo(): Promise<void> {
  await writing(undoLast, `Undone: ${lastChange.value?.what}`, 'Nothing was undone');
}
