import { createHash } from 'node:crypto';
import fs from 'node:fs/promises';
import { join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import { type ReplacingFs, replaceFile } from '../../shared/replace-file.ts';
import type { Finding } from '../finding.ts';
import type { Prop } from '../schema.ts';
import { fileId } from './version.ts';

type FormFs = ReplacingFs & Pick<typeof fs, 'readFile' | 'stat'>;

/** What was worked out from a text. */
interface Form {
  raw: unknown;
  prop: Prop;
  findings: Finding[];
  /** What others show of it; nothing is known of it here. */
  view: unknown;
}

const MAGIC = 'sinew-compiled 1';
const MAX_BYTES = 16 * 1024 * 1024;

/**
 * The accepted version of a prop file as it was worked out, kept beside its text: to read and check the
 * text of a large prop takes seconds on a small board, to read this takes a fraction of that. It stands
 * for no other text than its own, and for no other program than the one that wrote it.
 */
export class CompiledForm {
  readonly path: string;
  readonly #fs: FormFs;
  readonly #program: Promise<string | undefined>;
  #keeping: Promise<void> = Promise.resolve();

  /**
   * @param file the prop file
   * @param folder where the form is kept; every prop file has its own there
   * @param program the file of the program itself
   */
  constructor(file: string, folder: string, program: string, fileSystem: FormFs = fs) {
    this.path = join(folder, `compiled-${fileId(file)}.json`);
    this.#fs = fileSystem;
    this.#program = fileSystem.readFile(program).then(
      (bytes) => `${sha256(bytes)} ${process.version}`,
      () => undefined,
    );
  }

  /** The form of `text`; undefined where there is none, or anything about it is in doubt. Never throws. */
  async read(text: string): Promise<Form | undefined> {
    try {
      const { size } = await this.#fs.stat(this.path);
      if (size > MAX_BYTES) return undefined;
      const kept = await this.#fs.readFile(this.path, 'utf8');
      const end = kept.indexOf('\n');
      const body = kept.slice(end + 1);
      if (kept.slice(0, Math.max(end, 0)) !== `${MAGIC} ${sha256(body)}`) return undefined;
      const { program, of, form } = JSON.parse(body);
      if (of !== sha256(text) || program !== (await this.#program)) return undefined;
      return form;
    } catch {
      return undefined;
    }
  }

  /**
   * Keeps what was worked out from `text`. A power cut may leave anything; it is known by its sum then.
   * What cannot be written down exactly is not kept.
   */
  keep(text: string, form: Form): Promise<void> {
    const kept = this.#keeping.then(async () => {
      const program = await this.#program;
      if (program === undefined) return;
      const { raw, prop, findings, view } = form;
      const body = JSON.stringify({
        program,
        of: sha256(text),
        form: { raw, prop, findings, view },
      });
      if (!isDeepStrictEqual(JSON.parse(body).form, { raw, prop, findings, view })) return;
      await replaceFile(this.path, `${MAGIC} ${sha256(body)}\n${body}`, false, this.#fs);
    });
    this.#keeping = kept.catch(() => undefined);
    return kept;
  }

  /** It was wrong, whatever the reason. */
  async forget(): Promise<void> {
    await this.#fs.rm(this.path, { force: true });
  }
}

function sha256(data: string | Buffer): string {
  return createHash('sha256').update(data).digest('hex');
}
