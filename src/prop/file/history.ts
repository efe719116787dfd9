import fs from 'node:fs/promises';
import { join } from 'node:path';
import * as z from 'zod';
import { type ReplacingFs, replaceFile } from '../../shared/replace-file.ts';
import { fileId } from './version.ts';

type HistoryFs = ReplacingFs & Pick<typeof fs, 'readFile' | 'stat'>;

/** Who made a version of the prop file. */
export interface Made {
  version: string;
  /** ISO 8601. */
  time: string;
  who: string;
  what: string;
}

const text = z.string().max(1000);
const made = z.object({ version: text, time: text, who: text, what: text });
const VERSION = 1;
const file = z.object({ version: z.literal(VERSION), entries: z.array(z.unknown()) });

/** Entries kept: somewhat more than versions of the file. */
const KEPT = 40;
/** More than the file ever has. */
const MAX_BYTES = 1024 * 1024;

/** Who made which version of the prop file, when and why; kept with the daemon's state. */
export class History {
  readonly #path: string;
  readonly #fs: HistoryFs;
  #entries: Made[] = [];
  #writing: Promise<void> = Promise.resolve();

  constructor(file: string, folder: string, fileSystem: HistoryFs = fs) {
    this.#path = join(folder, `history-${fileId(file)}.json`);
    this.#fs = fileSystem;
  }

  /** Reads the saved entries; damaged ones are left out. Never throws. */
  async read(): Promise<void> {
    try {
      const { size } = await this.#fs.stat(this.#path);
      if (size > MAX_BYTES) return;
      const read: unknown = JSON.parse(await this.#fs.readFile(this.#path, 'utf8'));
      // Before it had a version, the file was the list alone.
      const found: unknown = Array.isArray(read) ? read : file.parse(read).entries;
      if (!Array.isArray(found)) return;
      this.#entries = found
        .flatMap((entry) => {
          const one = made.safeParse(entry);
          return one.success ? [one.data] : [];
        })
        .slice(-KEPT);
    } catch {
      // Missing or unusable: nothing depends on it.
    }
  }

  /** The latest entry of a version. */
  find(version: string): Made | undefined {
    return this.#entries.findLast((entry) => entry.version === version);
  }

  /** Adds an entry; resolves when it is on the disk. */
  add(entry: Made): Promise<void> {
    const clip = (given: string) => given.slice(0, 200);
    this.#entries.push({ ...entry, who: clip(entry.who), what: clip(entry.what) });
    this.#entries = this.#entries.slice(-KEPT);
    const content = `${JSON.stringify({ version: VERSION, entries: this.#entries })}\n`;
    const written = this.#writing.then(() => replaceFile(this.#path, content, true, this.#fs));
    this.#writing = written.catch(() => undefined);
    return written;
  }
}
