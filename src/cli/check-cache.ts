import fs from 'node:fs/promises';
import { homedir } from 'node:os';
import { isAbsolute, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import type { Finding } from '../prop/finding.ts';
import { programId, readSealed, sha256, writeSealed } from '../shared/sealed-file.ts';

const MAGIC = 'sinew-check 1';
/** An entry is a list of findings (bytes). */
const MAX_BYTES = 4 * 1024 * 1024;
/** Entries that stay; the oldest go first. */
const MAX_ENTRIES = 50;

/**
 * What a whole check found, kept by the digest of the text: rehearsing every cue again would say nothing
 * new. An entry holds only for its own text, and for the program and Node that wrote it. In any doubt the
 * result is worked out again; without a folder there is no cache.
 */
export class CheckCache {
  readonly #folder: string | undefined;
  readonly #program: Promise<string | undefined>;

  /** @param program the file of the program itself, where it is all in one file */
  constructor(folder: string | undefined, program: string | undefined) {
    this.#folder = folder;
    this.#program = program === undefined ? Promise.resolve(undefined) : programId(program);
  }

  /** The cache of this user; none where the program runs from its sources, which change. */
  static of(env: Record<string, string | undefined>): CheckCache {
    const own = fileURLToPath(import.meta.url);
    const home = env.HOME ?? homedir();
    const xdg = env.XDG_CACHE_HOME;
    // XDG Base Directory Specification: a path that is not absolute is ignored.
    const base = xdg && isAbsolute(xdg) ? xdg : isAbsolute(home) ? join(home, '.cache') : undefined;
    const folder = base === undefined ? undefined : join(base, 'sinew');
    return new CheckCache(folder, own.endsWith('.code.js') ? own : undefined);
  }

  /** What was found in this text. Never throws. */
  async read(text: string | undefined): Promise<Finding[] | undefined> {
    try {
      const program = await this.#program;
      if (text === undefined || this.#folder === undefined || program === undefined)
        return undefined;
      const kept = await readSealed(this.#pathOf(text, program), MAGIC, MAX_BYTES);
      const entry = (kept ?? {}) as { program?: unknown; of?: unknown; findings?: Finding[] };
      if (entry.of !== sha256(text) || entry.program !== program) return undefined;
      return Array.isArray(entry.findings) ? entry.findings : undefined;
    } catch {
      return undefined;
    }
  }

  /** Never throws: what cannot be kept is worked out again. */
  async keep(text: string, findings: readonly Finding[]): Promise<void> {
    try {
      const program = await this.#program;
      if (this.#folder === undefined || program === undefined) return;
      await fs.mkdir(this.#folder, { recursive: true, mode: 0o700 });
      const body = JSON.stringify({ program, of: sha256(text), findings });
      await writeSealed(this.#pathOf(text, program), MAGIC, body);
      await this.#forgetOld(this.#folder);
    } catch {
      // A full disk, or a folder that belongs to somebody else, is not a reason to fail.
    }
  }

  #pathOf(text: string, program: string): string {
    return join(this.#folder!, `check-${sha256(`${program} ${sha256(text)}`).slice(0, 32)}.json`);
  }

  async #forgetOld(folder: string): Promise<void> {
    const names = (await fs.readdir(folder)).filter((name) =>
      /^check-[0-9a-f]{32}\.json$/.test(name),
    );
    if (names.length <= MAX_ENTRIES) return;
    const dated = await Promise.all(
      names.map(async (name) => ({ name, atMs: (await fs.stat(join(folder, name))).mtimeMs })),
    );
    dated.sort((a, b) => a.atMs - b.atMs);
    for (const { name } of dated.slice(0, names.length - MAX_ENTRIES))
      await fs.rm(join(folder, name), { force: true });
  }
}
