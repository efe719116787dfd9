import { createHash } from 'node:crypto';
import fs from 'node:fs/promises';
import { join } from 'node:path';
import { Refusal } from '../shared/errors.ts';
import { type ReplacingFs, replaceFile } from '../shared/replace-file.ts';
import { cutOff } from './cut-off.ts';

/**
 * A copy of the prop file as the daemon last went by it, kept with its state, by which the next start
 * tells a file that was cut off.
 */
export class LastKnown {
  readonly #file: string;
  readonly #copy: string;
  readonly #fs: ReplacingFs;
  #keeping: Promise<void> = Promise.resolve();

  /**
   * @param file the prop file
   * @param folder where the copy is kept; every prop file has its own there
   */
  constructor(file: string, folder: string, fileSystem: ReplacingFs = fs) {
    const id = createHash('sha256').update(file).digest('hex').slice(0, 8);
    this.#file = file;
    this.#copy = join(folder, `last-known-${id}.yaml`);
    this.#fs = fileSystem;
  }

  /** @throws Refusal when `text`, which is valid, looks as if its end were missing */
  async check(text: string): Promise<void> {
    let known: string;
    try {
      known = await fs.readFile(this.#copy, 'utf8');
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === 'ENOENT') return;
      throw error;
    }
    const why = cutOff(text, known);
    if (why === undefined) return;
    throw new Refusal(
      'condition',
      `${this.#file} seems to be cut off: ${why}. Put it back (cp '${this.#copy}' '${this.#file}'); or, if it is meant so, end it with a line of three dots (...)`,
      { file: this.#file, copy: this.#copy },
    );
  }

  /** Keeps `text`, which is in use from now on; resolves when it would survive a power cut. */
  keep(text: string): Promise<void> {
    const kept = this.#keeping.then(() => replaceFile(this.#copy, text, true, this.#fs));
    this.#keeping = kept.catch(() => undefined);
    return kept;
  }
}
