import fs from 'node:fs/promises';
import { basename, dirname, join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { Refusal } from '../shared/errors.ts';
import { cutOff } from './cut-off.ts';
import { valueAt } from './explain.ts';
import { formatFinding, type Path, pathText, show } from './finding.ts';
import { decodeProp, editProp, type Loaded, loadProp, parseProp } from './load.ts';
import type { Prop } from './schema.ts';
import { changed, type Edit, NotAlone } from './splice.ts';

export type { Edit } from './splice.ts';

/** What saving needs of the file system; tests put faults in. */
export type FileSystem = Pick<
  typeof fs,
  'readFile' | 'open' | 'rename' | 'rm' | 'readdir' | 'realpath' | 'stat'
>;

const VERSIONS_KEPT = 10;
/** How often a change starts over because the file was changed by hand in that very moment. */
const ATTEMPTS = 5;

/** A value that was replaced; undefined where there was none. */
interface Replaced {
  path: Edit['path'];
  before: unknown;
  after: unknown;
}

/** One change, kept to be undone. */
interface Done {
  textBefore: string;
  textAfter: string;
  replaced: Replaced[];
}

/**
 * A prop file that the daemon changes while people edit it, too.
 *
 * Every change is made to the text as it is on disk now, and only where it belongs. The file is
 * replaced in one step (write, fsync, rename, fsync of the folder), so that after a power cut it is
 * either the old one or the new one. What was replaced is kept beside it as `owl.yaml.~1~`,
 * `owl.yaml.~2~`, ... (the numbered backups of GNU cp): the highest number is the latest, ten stay.
 */
export class PropFile {
  readonly #file: string;
  readonly #fs: FileSystem;
  #loaded: Loaded;
  /** The data at the time of opening with this object's own changes: what the daemon goes by. */
  #known: unknown;
  #queue: Promise<unknown> = Promise.resolve();
  readonly #done: Done[] = [];
  /** Called with the text of every change as soon as it is on disk for good. */
  onWritten: (text: string) => void = () => {};

  private constructor(file: string, fileSystem: FileSystem, loaded: Loaded) {
    this.#file = file;
    this.#fs = fileSystem;
    this.#loaded = loaded;
    this.#known = loaded.raw;
  }

  /** Never throws: what is wrong with the file is in `loaded.findings`. */
  static async open(
    file: string,
    fileSystem: FileSystem = fs,
  ): Promise<{ propFile: PropFile; loaded: Loaded }> {
    const loaded = await loadProp(file, (path) => fileSystem.readFile(path));
    return { propFile: new PropFile(file, fileSystem, loaded), loaded };
  }

  /**
   * The prop as last read or written, hand edits that were merged included.
   * @throws Refusal `condition` when the file had errors.
   */
  get prop(): Prop {
    if (this.#loaded.prop) return this.#loaded.prop;
    throw new Refusal('condition', `${this.#file} has errors; run sinew check and mend them`);
  }

  /**
   * Makes the edits, all or none, in the order of the calls.
   * @returns the prop as it is in the file then.
   * @throws Refusal `condition` when the file was changed by hand where it matters, or has errors;
   *   `outOfLimits` when the file would not be valid any more; `internal` when it cannot be
   *   written. The file is as it was then.
   */
  change(edits: readonly Edit[]): Promise<Prop> {
    return this.#inTurn(() =>
      this.#rewrite((text) => {
        const before = this.#soundOf(text);
        for (const edit of edits) this.#refuseConflict(edit, before);
        const next = this.#edit(before, edits);
        const replaced = replacements(edits, before.raw, next.raw);
        const commit = () => {
          this.#know(replaced.map(({ path, after }) => ({ path, value: after })));
          if (next.text !== text)
            this.#done.push({ textBefore: text, textAfter: next.text, replaced });
        };
        return { next, commit };
      }),
    );
  }

  /**
   * Puts back what the last change replaced.
   * @returns the prop, what was done in words, and as edits.
   * @throws Refusal as for `change`; `condition` also when there is nothing to undo.
   */
  undo(): Promise<{ prop: Prop; undone: string; edits: Edit[] }> {
    return this.#inTurn(async () => {
      const last = this.#done.at(-1);
      if (!last) throw new Refusal('condition', 'there is nothing to undo: nothing was captured');
      const edits = last.replaced.map(({ path, before }) => ({ path, value: before }));
      const prop = await this.#rewrite((text) => {
        const commit = () => {
          this.#know(edits);
          this.#done.pop();
        };
        if (text === last.textAfter)
          return { next: parseProp(last.textBefore, this.#file), commit };
        const now = this.#soundOf(text);
        for (const { path, after } of last.replaced) {
          if (!isDeepStrictEqual(valueAt(now.raw, path), after))
            throw this.#conflict(now, path, after, valueAt(now.raw, path));
        }
        return { next: this.#edit(now, edits), commit };
      });
      const undone = last.replaced.map(({ path, before, after }) =>
        before === undefined
          ? `${pathText(path)} is gone again`
          : `${pathText(path)} is ${show(before)} again, no longer ${show(after)}`,
      );
      return { prop, undone: undone.join(', '), edits };
    });
  }

  #know(edits: readonly Edit[]): void {
    for (const { path, value } of edits) this.#known = changed(this.#known, path, value);
  }

  #inTurn<T>(task: () => Promise<T>): Promise<T> {
    const result = this.#queue.then(task);
    this.#queue = result.catch(() => undefined);
    return result;
  }

  // --- what may be written ----------------------------------------------------------------------

  #soundOf(text: string): Loaded {
    const loaded = text === this.#loaded.text ? this.#loaded : parseProp(text, this.#file);
    if (loaded.prop) return loaded;
    throw new Refusal(
      'condition',
      `the prop file has an error: ${this.#firstError(loaded)}. Mend it, then try again`,
      { file: this.#file, findings: loaded.findings },
    );
  }

  #firstError({ findings }: Loaded): string {
    const error = findings.find(({ severity }) => severity === 'error');
    return error ? formatFinding(error, this.#file) : this.#file;
  }

  /** An edit must not overwrite, or rest upon, what was changed by hand since the daemon read it. */
  #refuseConflict(edit: Edit, now: Loaded): void {
    const data = now.raw;
    const places: Path[] = edit.path.map((_, i) => edit.path.slice(0, i + 1));
    for (const place of places.slice(0, -1)) {
      const gone = valueAt(this.#known, place) !== undefined && valueAt(data, place) === undefined;
      if (gone) throw this.#conflict(now, place, valueAt(this.#known, place), undefined);
    }
    // An angle means nothing without the calibration and linkage that it was measured with.
    const [section, channel] = edit.path;
    if (section === 'channels' && channel !== undefined && edit.path.length > 2)
      places.push([section, channel, 'calibration'], [section, channel, 'linkage']);
    for (const place of places.slice(edit.path.length - 1)) {
      const [was, is] = [valueAt(this.#known, place), valueAt(data, place)];
      if (!isDeepStrictEqual(was, is)) throw this.#conflict(now, place, was, is);
    }
  }

  #conflict({ source }: Loaded, path: Path, was: unknown, is: unknown): Refusal {
    const { line, column } = source!.place({ severity: 'error', path, wrong: '', right: '' });
    const from = isDeepStrictEqual(show(was), show(is)) ? '' : ` from ${show(was)} to ${show(is)}`;
    return new Refusal(
      'condition',
      `${this.#file}:${line}:${column}: ${pathText(path)} was changed by hand${from}, so nothing was ` +
        'written. Put it back, or restart the daemon to use the file as it is',
      { file: this.#file, line, path: pathText(path), was, is },
    );
  }

  #edit(loaded: Loaded, edits: readonly Edit[]): Loaded {
    try {
      return editProp(loaded, edits);
    } catch (error) {
      if (!(error instanceof RangeError)) throw error;
      const { line } = error as Partial<NotAlone>;
      const place = line === undefined ? this.#file : `${this.#file}:${line}`;
      throw new Refusal('condition', `${place}: ${error.message}`, {
        file: this.#file,
        ...(error instanceof NotAlone && { line: error.line, path: pathText(error.path) }),
      });
    }
  }

  // --- writing ----------------------------------------------------------------------------------

  /** Replaces the text on disk by what `make` makes of it; `commit` is called once it is there. */
  async #rewrite(make: (text: string) => { next: Loaded; commit: () => void }): Promise<Prop> {
    for (let attempt = 0; attempt < ATTEMPTS; attempt++) {
      const text = await this.#read();
      const cut = cutOff(text, this.#loaded.text);
      if (cut !== undefined)
        throw new Refusal(
          'condition',
          `${this.#file} seems to be cut off: ${cut}. Nothing was written. Put it back; or, if it is meant so, end it with a line of three dots (...)`,
          { file: this.#file },
        );
      const { next: loaded, commit } = make(text);
      const next = loaded.text;
      if (!loaded.prop)
        throw new Refusal(
          'outOfLimits',
          `nothing was written, since the prop file would be wrong: ${this.#firstError(loaded)}`,
          { file: this.#file, findings: loaded.findings },
        );
      const adopt = () => {
        this.#loaded = loaded;
        commit();
      };
      if (next === text) adopt();
      else if (await this.#replace(text, next, adopt)) this.onWritten(next);
      else continue;
      return loaded.prop;
    }
    throw new Refusal('condition', `${this.#file} keeps changing; try again when it is at rest`);
  }

  async #read(): Promise<string> {
    let bytes: Buffer;
    try {
      bytes = await this.#fs.readFile(this.#file);
    } catch (error) {
      throw this.#trouble('read', error, 'nothing was changed');
    }
    const text = decodeProp(bytes, this.#file);
    if (typeof text === 'string' && text !== '') return text;
    const loaded = typeof text === 'string' ? parseProp(text, this.#file) : text;
    throw new Refusal('condition', `the prop file has an error: ${this.#firstError(loaded)}`);
  }

  /** False when the file was changed between reading and now: nothing was replaced then. */
  async #replace(text: string, next: string, adopt: () => void): Promise<boolean> {
    let temporary: string | undefined;
    let replaced = false;
    try {
      // A symbolic link stays one: what it points to is replaced.
      const target = await this.#fs.realpath(this.#file);
      const folder = dirname(target);
      const old = await this.#numbered(target);
      temporary = join(folder, `.${basename(target)}.new`);
      await this.#write(temporary, text, target);
      await this.#fs.rename(temporary, `${target}.~${(old.at(-1) ?? 0) + 1}~`);
      await this.#sync(folder);
      await this.#write(temporary, next, target);
      if ((await this.#read()) !== text) {
        await this.#fs.rm(temporary);
        return false;
      }
      await this.#fs.rename(temporary, target);
      replaced = true;
      adopt();
      await this.#sync(folder);
      for (const number of old.slice(0, Math.max(0, old.length + 1 - VERSIONS_KEPT)))
        await this.#fs.rm(`${target}.~${number}~`, { force: true });
      return true;
    } catch (error) {
      if (temporary) await this.#fs.rm(temporary, { force: true }).catch(() => undefined);
      if (error instanceof Refusal) throw error;
      const state = replaced
        ? 'it was written, but may not outlast a power cut'
        : 'it is as it was before';
      throw this.#trouble('saved', error, state);
    }
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

  /** Writes a new file as lasting as `like`, with its mode and, where possible, its owner. */
  async #write(path: string, text: string, like: string): Promise<void> {
    const { mode, uid, gid } = await this.#fs.stat(like);
    await this.#fs.rm(path, { force: true });
    const handle = await this.#fs.open(path, 'wx', 0o600);
    try {
      await handle.writeFile(text);
      // Only root may give files away; the prop file is then ours already or stays readable to us.
      await handle.chown(uid, gid).catch(() => undefined);
      await handle.chmod(mode & 0o777);
      await handle.sync();
    } finally {
      await handle.close();
    }
  }

  async #sync(folder: string): Promise<void> {
    const handle = await this.#fs.open(folder, 'r');
    try {
      await handle.sync();
    } finally {
      await handle.close();
    }
  }

  #trouble(what: 'read' | 'saved', error: unknown, state: string): Refusal {
    const code = (error as NodeJS.ErrnoException).code ?? String(error);
    const reason = `${this.#file} cannot be ${what} (${code}): ${state}; ${this.#remedy(code)}, then try again`;
    return new Refusal('internal', reason, { file: this.#file, code });
  }

  #remedy(code: string): string {
    if (code === 'ENOSPC' || code === 'EDQUOT') return 'free some disk space';
    if (code === 'ENOENT') return 'put the file back';
    if (code === 'EACCES' || code === 'EPERM' || code === 'EROFS')
      return `let the daemon's user read and write in ${dirname(this.#file)}`;
    return 'check the disk';
  }
}

/** What the edits replace, each told by the highest place it adds, so that undoing leaves nothing. */
function replacements(edits: readonly Edit[], before: unknown, after: unknown): Replaced[] {
  const replaced = new Map<string, Replaced>();
  for (const edit of edits) {
    let path = edit.path;
    for (let depth = 1; depth < edit.path.length; depth++) {
      path = edit.path.slice(0, depth);
      if (valueAt(before, path) === undefined) break;
      path = edit.path;
    }
    replaced.set(pathText(path), {
      path,
      before: valueAt(before, path),
      after: valueAt(after, path),
    });
  }
  return [...replaced.values()];
}
