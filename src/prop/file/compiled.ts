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

/** What was computed from a text. */
interface Form {
  raw: unknown;
  prop: Prop;
  findings: Finding[];
  /** The view for clients; opaque here. */
  view: unknown;
}

const MAGIC = 'sinew-compiled 1';
const MAX_BYTES = 16 * 1024 * 1024;

/**
 * What was computed from the accepted version of a prop file, kept beside its text: reading and checking
 * the text of a large prop takes seconds on a small board, reading this takes a fraction of that. It is
 * valid only for its own text and for the program that wrote it.
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

  /** The form of `text`; undefined if there is none, or anything about it is in doubt. Never throws. */
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
   * Saves what was computed from `text`. A power cut may leave it damaged, which its checksum shows. A
   * form that cannot be serialised exactly is not saved.
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

  /** Removes a form that has proved wrong. */
  async forget(): Promise<void> {
    await this.#fs.rm(this.path, { force: true });
  }
}
