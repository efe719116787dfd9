import fs from 'node:fs/promises';
import { dirname } from 'node:path';

/** What replacing a file needs of the file system; tests put faults in. */
export type ReplacingFs = Pick<typeof fs, 'open' | 'rename' | 'rm'>;

/**
 * Puts `text` in the place of the file at `path`, mode 0600.
 * @param durable whole or not at all, a power cut included, and there for good once this resolves;
 *   without it a crash of the program leaves it whole, a power cut may leave anything
 * @throws whatever the file system throws; the file is as it was then, or replaced but not for good
 */
export async function replaceFile(
  path: string,
  text: string,
  durable: boolean,
  fileSystem: ReplacingFs = fs,
): Promise<void> {
  const temporary = `${path}.new`;
  try {
    const handle = await fileSystem.open(temporary, 'w', 0o600);
    try {
      await handle.writeFile(text);
      if (durable) await handle.sync();
    } finally {
      await handle.close();
    }
    await fileSystem.rename(temporary, path);
  } catch (error) {
    await fileSystem.rm(temporary, { force: true }).catch(() => undefined);
    throw error;
  }
  if (durable) await syncFolder(dirname(path), fileSystem);
}

/** Makes the names in a folder last through a power cut. */
export async function syncFolder(
  folder: string,
  fileSystem: Pick<ReplacingFs, 'open'> = fs,
): Promise<void> {
  const handle = await fileSystem.open(folder, 'r');
  try {
    await handle.sync();
  } finally {
    await handle.close();
  }
}
