import fs from 'node:fs/promises';
import { join } from 'node:path';
import { type ReplacingFs, replaceFile } from '../../shared/replace-file.ts';
import { MAX_BYTES } from '../text.ts';
import { fileId } from './version.ts';

type KnownFs = ReplacingFs & Pick<typeof fs, 'readFile' | 'stat'>;

/**
 * A copy of the prop file as the daemon last accepted it, kept with its state. The next start uses it if
 * the file cannot be used, and compares the file with it to detect truncation.
 */
export class AcceptedCopy {
  readonly path: string;
  readonly #fs: KnownFs;
  #keeping: Promise<void> = Promise.resolve();

  /**
   * @param file the prop file
   * @param folder where the copy is kept; every prop file has its own there
   */
  constructor(file: string, folder: string, fileSystem: KnownFs = fs) {
    this.path = join(folder, `last-known-${fileId(file)}.yaml`);
    this.#fs = fileSystem;
  }

  /** The copy; undefined if there is none or it cannot be read. Never throws. */
  async read(): Promise<string | undefined> {
    try {
      const { size } = await this.#fs.stat(this.path);
      return size > MAX_BYTES ? undefined : await this.#fs.readFile(this.path, 'utf8');
    } catch {
      return undefined;
    }
  }

  /** Saves `text`, which is now in use; resolves when it would survive a power cut. */
  keep(text: string): Promise<void> {
    const kept = this.#keeping.then(() => replaceFile(this.path, text, true, this.#fs));
    this.#keeping = kept.catch(() => undefined);
    return kept;
  }
}
