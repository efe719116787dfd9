import fs from 'node:fs/promises';
import { join } from 'node:path';
import { isDeepStrictEqual } from 'node:util';
import {
  programId,
  readSealed,
  type SealedFs,
  sha256,
  writeSealed,
} from '../../shared/sealed-file.ts';
import type { Finding } from '../finding.ts';
import type { Prop } from '../schema.ts';
import { fileId } from './version.ts';

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
  readonly #fs: SealedFs;
  readonly #program: Promise<string | undefined>;
  #keeping: Promise<void> = Promise.resolve();

  /**
   * @param file the prop file
   * @param folder where the form is kept; every prop file has its own there
   * @param program the file of the program itself
   */
  constructor(file: string, folder: string, program: string, fileSystem: SealedFs = fs) {
    this.path = join(folder, `compiled-${fileId(file)}.json`);
    this.#fs = fileSystem;
    this.#program = programId(program, fileSystem);
  }

  /** The form of `text`; undefined where there is none, or anything about it is in doubt. Never throws. */
  async read(text: string): Promise<Form | undefined> {
    try {
      const kept = await readSealed(this.path, MAGIC, MAX_BYTES, this.#fs);
      if (kept === undefined) return undefined;
      const { program, of, form } = kept as { program: unknown; of: unknown; form: Form };
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
      const plain = { raw, prop, findings, view };
      const body = JSON.stringify({ program, of: sha256(text), form: plain });
      if (!isDeepStrictEqual(JSON.parse(body).form, plain)) return;
      await writeSealed(this.path, MAGIC, body, this.#fs);
    });
    this.#keeping = kept.catch(() => undefined);
    return kept;
  }

  /** It was wrong, whatever the reason. */
  async forget(): Promise<void> {
    await this.#fs.rm(this.path, { force: true });
  }
}
