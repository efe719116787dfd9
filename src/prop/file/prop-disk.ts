import fs from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { Refusal } from '../../shared/errors.ts';
import { syncFolder } from '../../shared/replace-file.ts';
import { MAX_BYTES } from '../text.ts';

/** What reading and saving the prop file need from the file system; tests inject faults here. */
export type FileSystem = Pick<
  typeof fs,
  'readFile' | 'open' | 'rename' | 'rm' | 'readdir' | 'realpath' | 'stat' | 'link'
>;

const VERSIONS_KEPT = 10;

/** The file as it was found once. */
export interface Seen {
  /** Undefined if it cannot be read, or is too large to be read. */
  bytes: Buffer | undefined;
  /** Changes whenever somebody writes the file. */
  signature: string;
  /** Why it cannot be read. */
  error?: NodeJS.ErrnoException;
}

/** A version that was replaced. */
export interface Kept {
  path: string;
  number: number;
}

/** The result of a replacement. */
export interface Written {
  /** Where the text before is kept; undefined when there was none. */
  kept: Kept | undefined;
  /** The new text is in place, but may not survive a power cut. */
  unsure: Refusal | undefined;
}

/** Error code for a file that is larger than a prop file may be. */
export const TOO_LARGE_CODE = 'EFBIG';

/**
 * The prop file on the disk, which people edit while the daemon does.
 *
 * It is replaced in one step (write, fsync, rename, fsync of the folder), so that after a power cut it is
 * either the old one or the new one. The replaced file stays beside it under a second name (link)
 * `owl.yaml.~1~`, `owl.yaml.~2~`, ... (like the numbered backups of GNU cp): the highest number is the
 * latest, and ten are kept.
 */
export class PropDisk {
  readonly file: string;
  readonly #fs: FileSystem;
  /** The highest number in use; read at the first replacement. */
  #latest: number | undefined;

  constructor(file: string, fileSystem: FileSystem = fs) {
    this.file = file;
    this.#fs = fileSystem;
  }

  /** A text that changes whenever somebody writes the file. Never throws. */
  async signature(): Promise<string> {
    try {
      return signatureOf(await this.#fs.stat(this.file, { bigint: true }));
    } catch (error) {
      return (error as NodeJS.ErrnoException).code ?? String(error);
    }
  }

  /** Reads the file. Never throws. */
  async look(): Promise<Seen> {
    let signature = '';
    try {
      const found = await this.#fs.stat(this.file, { bigint: true });
      signature = signatureOf(found);
      // A device or a pipe may be endless, and opening one may block for ever.
      if (found.isDirectory()) throw withCode('EISDIR');
      if (!found.isFile()) throw withCode('not a regular file');
      if (found.size > MAX_BYTES) throw withCode(TOO_LARGE_CODE);
      return { bytes: await this.#fs.readFile(this.file), signature };
    } catch (error) {
      const known = error as NodeJS.ErrnoException;
      return { bytes: undefined, signature: signature || (known.code ?? ''), error: known };
    }
  }

  /**
   * Replaces the file by `next` if it still contains `before`; undefined means that the file is gone.
   * @returns undefined when it contains something else: nothing was replaced.
   * @throws Refusal `internal` when it cannot be written; the file is then unchanged.
   */
  async replace(before: Buffer | undefined, next: string): Promise<Written | undefined> {
    const made: string[] = [];
    try {
      const target = await this.#target();
      const folder = dirname(target);
      let kept: Kept | undefined;
      if (before) {
        kept = await this.#keep(target, before);
        made.push(kept.path);
      }
      const temporary = join(folder, `.${basename(target)}.new`);
      made.push(temporary);
      await this.#write(temporary, next, before && target);
      const now = await this.look();
      const same = before ? now.bytes?.equals(before) : now.error?.code === 'ENOENT';
      if (!same) {
        await this.#forget(made);
        return undefined;
      }
      await this.#fs.rename(temporary, target);
      this.#latest = kept?.number ?? this.#latest;
      return { kept, unsure: await this.#settle(folder) };
    } catch (error) {
      await this.#forget(made);
      if (error instanceof Refusal) throw error;
      throw this.#trouble(error, 'it is as it was before');
    }
  }

  /**
   * Undoes a replacement: the version that was kept gets its name back, if the file still contains `now`.
   * @returns false when it contains something else.
   * @throws Refusal `internal` when that cannot be done; the replacement then stays
   */
  async putBack({ kept }: Written, now: string): Promise<boolean> {
    try {
      if ((await this.look()).bytes?.toString() !== now) return false;
      const target = await this.#target();
      if (kept) await this.#fs.rename(kept.path, target);
      else await this.#fs.rm(target);
      this.#latest = undefined;
      await syncFolder(dirname(target), this.#fs);
      return true;
    } catch (error) {
      throw this.#trouble(error, 'the new version stays in it');
    }
  }

  /** The versions kept beside the file, the latest first. */
  async versions(): Promise<(Kept & { bytes: Buffer; timeMs: number })[]> {
    const target = await this.#target();
    const own = await this.#fs.stat(target, { bigint: true }).catch(() => undefined);
    const found: (Kept & { bytes: Buffer; timeMs: number })[] = [];
    for (const number of (await this.#numbered(target)).reverse()) {
      const path = `${target}.~${number}~`;
      try {
        const { size, mtimeMs, ino, dev } = await this.#fs.stat(path, { bigint: true });
        // A second name of the file itself, left by a crash, is not a version.
        if (size > MAX_BYTES || (own && own.ino === ino && own.dev === dev)) continue;
        found.push({
          path,
          number,
          bytes: await this.#fs.readFile(path),
          timeMs: Number(mtimeMs),
        });
      } catch {
        // Unreadable versions are left out.
      }
    }
    return found;
  }

  /**
   * Keeps a text as the latest version, one that the file itself does not have any more.
   * @returns its path
   * @throws Refusal when it cannot be written
   */
  async keepText(text: string | Uint8Array): Promise<string> {
    try {
      const target = await this.#target();
      const number = ((await this.#numbered(target)).at(-1) ?? 0) + 1;
      const like = await this.#fs.stat(target).then(
        () => target,
        () => undefined,
      );
      const path = `${target}.~${number}~`;
      await this.#writeAs(path, text, like);
      this.#latest = undefined;
      return path;
    } catch (error) {
      if (error instanceof Refusal) throw error;
      throw this.#trouble(error, 'it is as it was before');
    }
  }

  /** Removes the oldest versions, so that ten stay. */
  async trim(): Promise<void> {
    const target = await this.#target();
    const numbers = await this.#numbered(target);
    for (const number of numbers.slice(0, Math.max(0, numbers.length - VERSIONS_KEPT)))
      await this.#fs.rm(`${target}.~${number}~`, { force: true });
  }

  /** Removes a second name of the file that a crash has left; do not call it during a replacement. */
  async tidy(): Promise<void> {
    const target = await this.#target();
    const own = await this.#fs.stat(target, { bigint: true });
    const last = own.nlink > 1 ? (await this.#numbered(target)).at(-1) : undefined;
    if (last === undefined) return;
    const path = `${target}.~${last}~`;
    const { ino, dev } = await this.#fs.stat(path, { bigint: true });
    if (ino === own.ino && dev === own.dev) await this.#fs.rm(path, { force: true });
  }

  // --- writing ----------------------------------------------------------------------------------

  /** The target of a symbolic link is replaced, not the link. */
  async #target(): Promise<string> {
    try {
      return await this.#fs.realpath(this.file);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'ENOENT') throw error;
      return join(await this.#fs.realpath(dirname(this.file)), basename(this.file));
    }
  }

  /** Gives the file a second name, which it keeps when a new file takes the first one. */
  async #keep(target: string, before: Buffer): Promise<Kept> {
    for (;;) {
      this.#latest ??= (await this.#numbered(target)).at(-1) ?? 0;
      const number = this.#latest + 1;
      const path = `${target}.~${number}~`;
      try {
        await this.#fs.link(target, path);
        return { path, number };
      } catch (error) {
        const { code } = error as NodeJS.ErrnoException;
        if (code === 'EEXIST') {
          const latest = (await this.#numbered(target)).at(-1) ?? 0;
          this.#latest = Math.max(latest, number);
          continue;
        }
        if (code === 'ENOSPC' || code === 'EDQUOT' || code === 'EROFS' || code === 'EIO')
          throw error;
      }
      // Some file systems have no hard links, and not every user may make them.
      await this.#writeAs(path, before, target);
      return { path, number };
    }
  }

  async #writeAs(
    path: string,
    content: string | Uint8Array,
    like: string | undefined,
  ): Promise<void> {
    const temporary = join(dirname(path), `.${basename(this.file)}.new`);
    try {
      await this.#write(temporary, content, like);
      await this.#fs.rename(temporary, path);
    } catch (error) {
      await this.#forget([temporary]);
      throw error;
    }
  }

  /** Writes a new file durably, with the mode and, where possible, the owner of `like`. */
  async #write(
    path: string,
    content: string | Uint8Array,
    like: string | undefined,
  ): Promise<void> {
    const model = like === undefined ? undefined : await this.#fs.stat(like);
    const mode = (model?.mode ?? 0o644) & 0o777;
    const open = () => this.#fs.open(path, 'wx', mode);
    const handle = await open().catch(async (error) => {
      if (error.code !== 'EEXIST') throw error;
      // Left by a power cut.
      await this.#fs.rm(path, { force: true });
      return open();
    });
    try {
      await handle.writeFile(content);
      const own = await handle.stat();
      // Only root may change owners; otherwise the prop file is ours already or stays readable to us.
      if (model && (own.uid !== model.uid || own.gid !== model.gid))
        await handle.chown(model.uid, model.gid).catch(() => undefined);
      if ((own.mode & 0o777) !== mode) await handle.chmod(mode);
      await handle.sync();
    } finally {
      await handle.close();
    }
  }

  async #settle(folder: string): Promise<Refusal | undefined> {
    try {
      await syncFolder(folder, this.#fs);
      return undefined;
    } catch (error) {
      return this.#trouble(error, 'it was written, but may not outlast a power cut');
    }
  }

  async #forget(paths: readonly string[]): Promise<void> {
    for (const path of paths) await this.#fs.rm(path, { force: true }).catch(() => undefined);
    this.#latest = undefined;
  }

  /** The numbers of the versions kept, rising. */
  async #numbered(target: string): Promise<number[]> {
    const start = `${basename(target)}.~`;
    const names = await this.#fs.readdir(dirname(target));
    return names
      .filter((name) => name.startsWith(start) && /^\d{1,15}~$/.test(name.slice(start.length)))
      .map((name) => Number.parseInt(name.slice(start.length), 10))
      .sort((a, b) => a - b);
  }

  #trouble(error: unknown, state: string): Refusal {
    const code = (error as NodeJS.ErrnoException).code ?? String(error);
    const reason = `${this.file} cannot be saved (${code}): ${state}; ${this.#remedy(code)}, then try again`;
    return new Refusal('file.not-saved', reason, { file: this.file, errno: code });
  }

  #remedy(code: string): string {
    if (code === 'ENOSPC' || code === 'EDQUOT') return 'free some disk space';
    if (code === 'ENOENT') return 'put the file back';
    if (code === 'EACCES' || code === 'EPERM' || code === 'EROFS')
      return `let the daemon's user read and write in ${dirname(this.file)}`;
    return 'check the disk';
  }
}

/** Changes with what a file contains. */
export function signatureOf(found: { ino: bigint; size: bigint; mtimeNs: bigint }): string {
  return `${found.ino}:${found.size}:${found.mtimeNs}`;
}

function withCode(code: string): NodeJS.ErrnoException {
  return Object.assign(new Error(code), { code });
}
