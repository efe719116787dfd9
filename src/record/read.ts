import fs from 'node:fs/promises';
import { join } from 'node:path';
import { fileName, fileNumbers, type JournalLine, readLines } from './lines.ts';
import { type JournalAnswer, type JournalQuery, Selection } from './query.ts';

export type ReadingFs = Pick<typeof fs, 'readdir' | 'readFile'>;

/** Where the journal is in a state folder. */
export const journalFolder = (stateDir: string): string => join(stateDir, 'journal');

/**
 * The newest entries that match, from the files of a journal; a file of a newer program is passed over.
 * @param unwritten lines that are not in a file yet
 * @throws Error where the folder cannot be read
 */
export async function readJournal(
  folder: string,
  query: JournalQuery,
  unwritten: readonly JournalLine[] = [],
  fileSystem: ReadingFs = fs,
): Promise<JournalAnswer> {
  const selection = new Selection(query);
  selection.take(unwritten);
  for (const number of (await numbersIn(folder, fileSystem)).reverse()) {
    if (selection.isFull) break;
    const text = await textOf(join(folder, fileName(number)), fileSystem);
    const { lines, damaged } = readLines(text);
    selection.take(lines, damaged);
  }
  return selection.answer;
}

/** The numbers of the files, oldest first; none where there is no folder. @throws Error */
export async function numbersIn(folder: string, fileSystem: ReadingFs = fs): Promise<number[]> {
  try {
    return fileNumbers(await fileSystem.readdir(folder));
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return [];
    throw error;
  }
}

/** Empty where the file is gone, or on a bad sector: the rest of the journal is still of use. */
export async function textOf(path: string, fileSystem: ReadingFs = fs): Promise<string> {
  return fileSystem.readFile(path, 'utf8').catch(() => '');
}
