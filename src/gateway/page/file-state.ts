import { batch, computed, effect, signal } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { lastChange, undoLast, type Written } from './file-change.ts';
import { fileNews } from './file-news.ts';
import { call, LinkGone, linkState } from './link.ts';
import { isRefusal } from './refusal.ts';
import { holding, refuse, refused, trouble, version, write } from './store.ts';

/** The prop file as the section *File* shows it: findings, corrections, versions. */

export type Report = Result<'prop.findings'>;
export type Finding = Report['findings'][number];
export type Version = Result<'prop.history'>['versions'][number];
export type Correction = Result<'prop.fix'> & {
  /** The number of the finding, or all of them. */
  of: number | 'all';
};

export const report = signal<Report | undefined>(undefined);
export const versions = signal<Version[]>([]);
/** A correction that waits for a yes. */
export const correction = signal<Correction | undefined>(undefined);
/** What was done last from here, for the version that came of it. */
export const done = signal<{ text: string; now: string } | undefined>(undefined);
/** What somebody else has changed meanwhile, so that nothing was written. */
export const conflict = signal<string[] | undefined>(undefined);
/** This page may change the file: it has control, and the link stands. */
export const mayWrite = computed(() => holding.value && linkState.value === 'open');

let asked = 0;

/** Reads findings and versions again; the latest answer counts. */
export async function readFile(): Promise<void> {
  const mine = ++asked;
  try {
    const [found, history] = await Promise.all([
      call('prop.findings', {}),
      call('prop.history', {}),
    ]);
    if (mine !== asked) return;
    batch(() => {
      // What was worked out for another version says nothing about this one.
      if (found.version !== correction.peek()?.version) correction.value = undefined;
      if (done.peek() && found.version !== done.peek()!.now) done.value = undefined;
      report.value = found;
      versions.value = history.versions;
    });
  } catch (error) {
    if (!(error instanceof LinkGone)) refuse(error);
  }
}

/** Reads the file now and whenever it changes; ends with the returned function. */
export function followFile(): () => void {
  return effect(() => {
    // Looked at so that it is read again when one of them changes.
    void [fileNews.value, version.value];
    if (linkState.value === 'open') void readFile();
  });
}

/** Works out what a correction would change. */
export async function proposeCorrection(of: Correction['of']): Promise<void> {
  const now = report.peek();
  if (!now) return;
  try {
    const only = of === 'all' ? {} : { only: [of] };
    const answer = await call('prop.fix', { version: now.version, ...only });
    trouble.value = '';
    correction.value = { ...answer, of };
  } catch (error) {
    refuse(error);
    void readFile();
  }
}

/** Writes what a correction was shown to change. */
export async function applyCorrection({
  text,
  version: base,
  done: which,
}: Correction): Promise<void> {
  if (text === undefined) return;
  const before = report.peek();
  const what = which.length === 1 ? 'a correction' : `${which.length} corrections`;
  const result = await write(what, 'prop.apply', { text, version: base, partly: true });
  // A faulty file is nothing to go back to: then it is the version that was in use.
  const back = before?.problem === undefined ? base : before.inUse?.version;
  finish(result, `The file has ${what}`, what, back);
}

/** Goes back to a version. @param base the present one, as this page knows it */
export async function restore(to: string, base: string, words: string): Promise<void> {
  const before = report.peek();
  const what = `version ${to}`;
  const result = await write(what, 'prop.restore', { version: to, base });
  finish(result, words, what, before?.problem === undefined ? base : undefined);
}

/** Takes back what was done last; that can be taken back as well. */
export async function undo(): Promise<void> {
  const before = report.peek();
  const change = lastChange.peek();
  if (!change) return;
  const result = await undoLast();
  const back = before?.problem === undefined ? change.after : undefined;
  finish(result, 'Undone: the version before is back', `the undo of ${change.what}`, back);
}

/** @param back the version before, where it can be gone back to */
function finish(
  result: Written | undefined,
  words: string,
  what: string,
  back: string | undefined,
): void {
  batch(() => {
    conflict.value = result ? undefined : conflictOf(refused.peek());
    if (!result) return;
    const state = result.problem
      ? 'It still has errors, so the prop continues as before.'
      : result.pending
        ? 'It waits until the prop is parked.'
        : 'It is in use.';
    const { version: now } = result;
    done.value = { text: `${words}. ${state}`, now };
    lastChange.value =
      back === undefined || back === now ? undefined : { what, before: back, after: now };
    correction.value = undefined;
  });
  void readFile();
}

function conflictOf(error: unknown): string[] | undefined {
  if (!isRefusal(error, 'file.other-version')) return undefined;
  return (error.data?.changed as string[] | undefined) ?? [];
}
