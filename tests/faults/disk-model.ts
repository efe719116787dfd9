import { constants } from 'node:fs';
import { dirname } from 'node:path';
import type { ServiceFs } from '../../src/service/service.ts';

/*
 * A disk in memory that writes down every operation, and what a power cut may leave of them.
 *
 * What POSIX promises, and no more: fsync of a file brings its content to the disk, not its name;
 * fsync of a folder brings the names in it. All else reaches the disk whole, in part or not at all,
 * in any order, until then (Pillai et al., All File Systems Are Not Created Equal, OSDI 2014, from
 * memory). A rename is one step.
 */

/** One step that a power cut may keep or lose. Files go by their number, whatever their name. */
type Step =
  | { op: 'data'; file: number; from: number; bytes: Buffer }
  | { op: 'empty'; file: number }
  | { op: 'name'; folder: string; name: string; file: number }
  | { op: 'rename'; folder: string; from: string; to: string; file: number }
  | { op: 'unname'; folder: string; name: string };
type Logged = Step | { op: 'sync'; file: number } | { op: 'sync folder'; folder: string };

/** Files by path. */
export type Files = ReadonlyMap<string, Buffer>;

/** A write reaches the disk in pieces, each by itself: at least this many. */
const PIECES = 2;

const missing = (path: string) =>
  Object.assign(new Error(`ENOENT: no such file or directory, '${path}'`), { code: 'ENOENT' });

export class DiskModel {
  readonly #first: Files;
  readonly #log: Logged[] = [];
  readonly #names = new Map<string, number>();
  readonly #content: Buffer[] = [];
  /** Open files: a file's number, or the path of a folder. */
  readonly #open: (number | string)[] = [];
  #folders: ReadonlySet<string>;

  /** @param files what is on the disk at first, for good; their folders are all that there are */
  constructor(files: Record<string, string>, folders: string[] = []) {
    this.#first = new Map(Object.entries(files).map(([path, text]) => [path, Buffer.from(text)]));
    this.#folders = new Set([...Object.keys(files).map(dirname), ...folders]);
    for (const [path, bytes] of this.#first) this.#names.set(path, this.#content.push(bytes) - 1);
  }

  /** How many operations there were so far: a point in time. */
  get now(): number {
    return this.#log.length;
  }

  // --- as programs see it ------------------------------------------------------------------------

  #file(path: string): number {
    const file = this.#names.get(path);
    if (file === undefined) throw missing(path);
    return file;
  }

  #openAt(path: string, flags: string): number {
    if (this.#folders.has(path)) return this.#open.push(path) - 1;
    let file = this.#names.get(path);
    if (file === undefined) {
      if (!/^[wa]/.test(flags)) throw missing(path);
      file = this.#content.push(Buffer.alloc(0)) - 1;
      this.#names.set(path, file);
      this.#log.push({ op: 'name', folder: dirname(path), name: path, file });
    } else if (flags.includes('x'))
      throw Object.assign(new Error(`EEXIST: '${path}'`), { code: 'EEXIST' });
    else if (flags.startsWith('w')) this.#empty(file);
    return this.#open.push(file) - 1;
  }

  #empty(file: number): void {
    this.#content[file] = Buffer.alloc(0);
    this.#log.push({ op: 'empty', file });
  }

  #write(fd: number, text: string): void {
    const file = this.#open[fd] as number;
    const start = this.#content[file]!.length;
    const bytes = Buffer.from(text);
    this.#content[file] = Buffer.concat([this.#content[file]!, bytes]);
    const size = Math.max(1, Math.ceil(bytes.length / PIECES));
    for (let at = 0; at < bytes.length; at += size)
      this.#log.push({ op: 'data', file, from: start + at, bytes: bytes.subarray(at, at + size) });
  }

  #sync(fd: number): void {
    const what = this.#open[fd]!;
    this.#log.push(
      typeof what === 'string' ? { op: 'sync folder', folder: what } : { op: 'sync', file: what },
    );
  }

  #rename(from: string, to: string): void {
    const file = this.#file(from);
    this.#names.delete(from);
    this.#names.set(to, file);
    this.#log.push({ op: 'rename', folder: dirname(to), from, to, file });
  }

  #link(from: string, to: string): void {
    const file = this.#file(from);
    if (this.#names.has(to)) throw Object.assign(new Error(`EEXIST: '${to}'`), { code: 'EEXIST' });
    this.#names.set(to, file);
    this.#log.push({ op: 'name', folder: dirname(to), name: to, file });
  }

  /** A file by its number, or a folder by its path. */
  #stat(what: number | string, bigint: boolean): object {
    const isFile = typeof what === 'number';
    const numbers = {
      mode: (isFile ? constants.S_IFREG : constants.S_IFDIR) | 0o640,
      uid: 0,
      gid: 0,
      dev: 1,
      ino: isFile ? what + 1 : 0,
      nlink: [...this.#names.values()].filter((file) => file === what).length,
      size: isFile ? this.#content[what]!.length : 0,
      mtimeMs: 0,
      mtimeNs: isFile ? this.#log.findLastIndex((one) => 'file' in one && one.file === what) : 0,
    };
    const made = Object.entries(numbers).map(([key, value]) => [
      key,
      bigint ? BigInt(value) : value,
    ]);
    return {
      ...Object.fromEntries(made),
      isFile: () => isFile,
      isDirectory: () => !isFile,
    };
  }

  #remove(path: string, force: boolean): void {
    if (!this.#names.delete(path)) {
      if (force) return;
      throw missing(path);
    }
    this.#log.push({ op: 'unname', folder: dirname(path), name: path });
  }

  /** Changes a file as an editor on the same machine would, for good. */
  edit(path: string, text: string): void {
    const fd = this.#openAt(path, 'w');
    this.#write(fd, text);
    this.#sync(fd);
  }

  read(path: string): Buffer {
    return this.#content[this.#file(path)]!;
  }

  /** The functions of node:fs/promises that the daemon uses. */
  get promises(): ServiceFs {
    const handle = (fd: number) => ({
      writeFile: async (text: string) => this.#write(fd, text),
      stat: async () => this.#stat(this.#open[fd]!, false),
      truncate: async () => this.#empty(this.#open[fd] as number),
      sync: async () => this.#sync(fd),
      chown: async () => {},
      chmod: async () => {},
      close: async () => {},
    });
    const calls = {
      open: async (path: string, flags: string) => handle(this.#openAt(path, flags)),
      readFile: async (path: string, encoding?: BufferEncoding) =>
        encoding ? this.read(path).toString(encoding) : this.read(path),
      rename: async (from: string, to: string) => this.#rename(from, to),
      rm: async (path: string, { force = false } = {}) => this.#remove(path, force),
      readdir: async (folder: string) =>
        [...this.#names.keys()]
          .filter((path) => dirname(path) === folder)
          .map((path) => path.slice(folder.length + 1)),
      realpath: async (path: string) => path,
      stat: async (path: string, { bigint = false } = {}) =>
        this.#stat(this.#folders.has(path) ? path : this.#file(path), bigint),
      link: async (from: string, to: string) => this.#link(from, to),
      mkdir: async () => undefined,
    };
    return calls as unknown as ServiceFs;
  }

  // --- as a power cut leaves it ------------------------------------------------------------------

  /** Everything that may be on the disk after a power cut at the point `at`. */
  *after(at: number): Generator<Files> {
    const steps: Step[] = [];
    const certain = new Set<Step>();
    for (const entry of this.#log.slice(0, at)) {
      if (entry.op === 'sync') {
        for (const step of steps)
          if ((step.op === 'data' || step.op === 'empty') && step.file === entry.file)
            certain.add(step);
      } else if (entry.op === 'sync folder') {
        for (const step of steps)
          if ('folder' in step && step.folder === entry.folder) certain.add(step);
      } else steps.push(entry);
    }
    // What becomes of a file that has lost its last name for good is seen by nobody.
    const gone = (step: Step) => 'file' in step && !this.#mayHaveName(step.file, steps, certain);
    const open = steps.filter((step) => !certain.has(step) && !gone(step));
    if (open.length > 16) throw new Error(`${open.length} steps without fsync are too many to try`);
    for (let kept = 0; kept < 2 ** open.length; kept++) {
      const lost = new Set(open.filter((_, bit) => (kept & (1 << bit)) === 0));
      yield this.#replay(steps.filter((step) => !lost.has(step)));
    }
  }

  #mayHaveName(file: number, steps: readonly Step[], certain: ReadonlySet<Step>): boolean {
    const given = steps.flatMap((step, at) => {
      if (step.op === 'name' && step.file === file) return [{ name: step.name, at }];
      return step.op === 'rename' && step.file === file ? [{ name: step.to, at }] : [];
    });
    const taken = (name: string, at: number) =>
      steps.some((step, later) => {
        if (later <= at || !certain.has(step)) return false;
        if (step.op === 'rename') return step.from === name || step.to === name;
        return (step.op === 'name' || step.op === 'unname') && step.name === name;
      });
    const isFirst = file < this.#first.size;
    return isFirst || given.some(({ name, at }) => !taken(name, at));
  }

  #replay(steps: readonly Step[]): Files {
    const names = new Map<string, number>();
    const content = new Map<number, Buffer>();
    let number = 0;
    for (const [path, bytes] of this.#first) {
      names.set(path, number);
      content.set(number++, bytes);
    }
    for (const step of steps) {
      if (step.op === 'empty') content.set(step.file, Buffer.alloc(0));
      else if (step.op === 'name') names.set(step.name, step.file);
      else if (step.op === 'unname') names.delete(step.name);
      else if (step.op === 'rename') {
        if (names.get(step.from) === step.file) names.delete(step.from);
        names.set(step.to, step.file);
      } else {
        // A piece whose forerunner is lost leaves a hole, which reads as zeros.
        const before = content.get(step.file) ?? Buffer.alloc(0);
        const after = Buffer.alloc(Math.max(before.length, step.from + step.bytes.length));
        before.copy(after);
        step.bytes.copy(after, step.from);
        content.set(step.file, after);
      }
    }
    return new Map([...names].map(([path, file]) => [path, content.get(file) ?? Buffer.alloc(0)]));
  }
}
