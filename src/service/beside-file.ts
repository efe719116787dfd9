import type fs from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { syncFolder } from '../shared/replace-file.ts';

/** What writing beside the prop file needs of the file system; tests put faults in. */
export type BesideFs = Pick<typeof fs, 'readFile' | 'open' | 'rename' | 'rm' | 'stat'>;

/**
 * Writes a file into the folder of the prop file, whole or not at all, a power cut included; it has the
 * owner and the rights of the prop file.
 * @param target the prop file
 * @param file its plain name
 * @param mode its rights where there is no prop file to take them from
 * @throws what the file system throws; nothing is left behind then
 */
export async function putBeside(
  target: string,
  file: string,
  content: Uint8Array | string,
  fileSystem: BesideFs,
  mode = 0o644,
): Promise<void> {
  const folder = dirname(target);
  const temporary = join(folder, `.${file}.new`);
  const model = await fileSystem.stat(target).catch(() => undefined);
  // Left by a power cut.
  await fileSystem.rm(temporary, { force: true });
  try {
    const handle = await fileSystem.open(temporary, 'wx', (model?.mode ?? mode) & 0o666);
    try {
      await handle.writeFile(content);
      // Only root may change owners; otherwise it is ours, like the prop file.
      if (model) await handle.chown(model.uid, model.gid).catch(() => undefined);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await fileSystem.rename(temporary, join(folder, file));
  } catch (error) {
    await fileSystem.rm(temporary, { force: true }).catch(() => undefined);
    throw error;
  }
  await syncFolder(folder, fileSystem);
}

/** What a person can do about an error of the file system, beside the prop file. */
export function diskRemedy({ code = 'failed' }: NodeJS.ErrnoException, target: string): string {
  if (code === 'ENOSPC' || code === 'EDQUOT') return 'free some disk space';
  if (code === 'EACCES' || code === 'EPERM' || code === 'EROFS')
    return `let the daemon's user write in ${dirname(target)}`;
  return 'check the disk';
}

/**
 * Writes a file beside the prop file under the first free name: `owl.png`, `owl-2.png` and so on. The same
 * content is not written twice.
 * @param most names that are tried
 * @returns its name, and whether it is new; undefined where all names are taken
 * @throws what the file system throws; nothing is left behind then
 */
export async function putUnderFreeName(
  target: string,
  { stem, ending, most }: { stem: string; ending: string; most: number },
  content: Uint8Array | string,
  fileSystem: BesideFs,
): Promise<{ file: string; isNew: boolean } | undefined> {
  const bytes = Buffer.from(content);
  for (let n = 1; n <= most; n++) {
    const file = `${stem}${n === 1 ? '' : `-${n}`}.${ending}`;
    const path = join(dirname(target), file);
    const found = await fileSystem.stat(path).catch((error) => {
      if (error.code === 'ENOENT') return undefined;
      throw error;
    });
    if (found) {
      const isSame = found.isFile() && found.size === bytes.length;
      if (isSame && bytes.equals(await fileSystem.readFile(path))) return { file, isNew: false };
      continue;
    }
    await putBeside(target, file, content, fileSystem);
    return { file, isNew: true };
  }
  return undefined;
}

/** Removes a file beside the prop file, where that is possible: what failed before is what counts. */
export async function removeBeside(
  target: string,
  file: string,
  fileSystem: BesideFs,
): Promise<void> {
  await fileSystem.rm(join(dirname(target), file), { force: true }).catch(() => undefined);
}
