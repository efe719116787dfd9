import { readdir } from 'node:fs/promises';
import { type Cell, csvRows } from '../shared/csv.ts';
import { print, UsageError } from './output.ts';
import type { Operator, Outcome, VerbOption } from './verb.ts';

/** What the verbs share that show what a daemon has kept. */

export type Form = 'csv' | 'json';

export const exportOption = (what: string): VerbOption => ({
  flags: '--export <FORM>',
  doc: `print ${what} as csv or json, for another program`,
  choices: ['csv', 'json'],
});

export const FOLDER: VerbOption = {
  flags: '--folder <DIR>',
  doc: 'read the state folder of a daemon on this computer, which need not run',
};

/**
 * A folder that is not there would look as if nothing had been kept.
 * @param what is not there then
 * @throws UsageError
 */
export async function mustBeThere(folder: string, what: string): Promise<void> {
  try {
    await readdir(folder);
  } catch (error) {
    const { message } = error as Error;
    throw new UsageError(
      `there is no ${what} (${message}); give the folder that sinewd has as --state-dir`,
    );
  }
}

/** Prints for another program: the value, or rows of it. */
export function exported(
  form: Form,
  value: unknown,
  rows: () => readonly (readonly Cell[])[],
  { io }: Operator,
): Outcome {
  // RFC 4180: CR LF ends every line; the LF of the last one comes with the printing.
  print(io.stdout, form === 'csv' ? `${csvRows(rows())}\r` : JSON.stringify(value, null, 2));
  return { result: undefined, text: '' };
}
