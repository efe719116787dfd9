import type fs from 'node:fs/promises';
import { AcceptedCopy } from '../prop/file/accepted-copy.ts';
import { emptyPropText } from '../proposal/empty.ts';
import type { ReplacingFs } from '../shared/replace-file.ts';

type NewFs = ReplacingFs & Pick<typeof fs, 'open' | 'readFile' | 'stat'>;

/**
 * Makes an empty prop file where there is none. One that is there stays as it is, and so does one that is
 * gone but was in use before: its last version is kept, and that comes first.
 * @returns why it could not be made, in a sentence
 */
export async function makeNewFile(
  file: string,
  target: string,
  stateDir: string,
  fileSystem: NewFs,
): Promise<string | undefined> {
  if ((await new AcceptedCopy(target, stateDir, fileSystem).read()) !== undefined) return undefined;
  try {
    const handle = await fileSystem.open(target, 'wx');
    try {
      await handle.writeFile(emptyPropText());
      await handle.sync();
    } finally {
      await handle.close();
    }
  } catch (error) {
    const { code, message } = error as NodeJS.ErrnoException;
    if (code === 'EEXIST') return undefined;
    if (code === 'ENOENT') return `${file} cannot be made: there is no such folder; make it first`;
    return `${file} cannot be made: ${message}`;
  }
  return undefined;
}
