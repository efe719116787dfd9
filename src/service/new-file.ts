import { AcceptedCopy } from '../prop/file/accepted-copy.ts';
import { type FileSystem, PropDisk } from '../prop/file/prop-disk.ts';
import { emptyPropText } from '../proposal/empty.ts';
import { Refusal } from '../shared/errors.ts';
import type { ReplacingFs } from '../shared/replace-file.ts';

/**
 * Makes an empty prop file where there is none. One that is there stays as it is, and so does one that is
 * gone but was in use before: its last version is kept, and that comes first.
 * @returns why it could not be made, in a sentence; nothing is left of it then
 */
export async function makeNewFile(
  file: string,
  target: string,
  stateDir: string,
  fileSystem: FileSystem & ReplacingFs,
): Promise<string | undefined> {
  if ((await new AcceptedCopy(target, stateDir, fileSystem).read()) !== undefined) return undefined;
  const disk = new PropDisk(target, fileSystem);
  if ((await disk.signature()) !== 'ENOENT') return undefined;
  try {
    await disk.replace(undefined, emptyPropText());
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    const missing = error.values.errno === 'ENOENT';
    const why = missing ? 'there is no such folder; make it first' : error.message;
    return `${file} cannot be made: ${why}`;
  }
  return undefined;
}
