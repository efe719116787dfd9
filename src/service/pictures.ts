import { createHmac, randomBytes } from 'node:crypto';
import fs from 'node:fs/promises';
import { basename, dirname, extname, join } from 'node:path';
import type { Params } from '../api/methods.ts';
import { signatureOf } from '../prop/file/prop-disk.ts';
import { MAX_PICTURE_BYTES, PICTURE_NAME } from '../prop/picture/name.ts';
import { ENDINGS, type SafePicture } from '../prop/picture/safe-picture.ts';
import { tooLarge } from '../prop/picture/size.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { type BesideFs, diskRemedy, putUnderFreeName } from './beside-file.ts';
import type { PlannerPort } from './planner.ts';
import type { ServedPicture } from './protocol.ts';
import { Uploads } from './upload.ts';

/** What keeping pictures needs of the file system; tests put faults in. */
export type PictureFs = BesideFs;

/** Pictures of one name that are kept: the next one gets a number. */
const MAX_OF_A_NAME = 30;

/** What the file says of a picture. */
interface Named {
  file: string;
  places: Record<string, [number, number]>;
}

interface Shown {
  file: string;
  signature: string;
  address: string;
  width: number;
  height: number;
}

/**
 * The pictures beside the prop file: takes new ones in parts, and gives the one in use to the gateway.
 * A picture is never written over: an earlier version of the prop file may name it.
 */
export class Pictures {
  readonly #planner: PlannerPort;
  readonly #serve: (picture: ServedPicture) => void;
  readonly #fs: PictureFs;
  /** The prop file, with all links followed. */
  #target = '';
  readonly #uploads: Uploads;
  /** The name of the picture that is sent, without its ending. */
  #stem = '';
  /** Nobody can work out an address from the picture alone. */
  readonly #key = randomBytes(32);
  #shown: Shown | undefined;
  #queue: Promise<unknown> = Promise.resolve();

  constructor(
    planner: PlannerPort,
    clock: Clock,
    serve: (picture: ServedPicture) => void,
    fileSystem: PictureFs = fs,
  ) {
    this.#planner = planner;
    this.#uploads = new Uploads('picture', clock);
    this.#serve = serve;
    this.#fs = fileSystem;
  }

  /** @param target the prop file beside which they are */
  besides(target: string): void {
    this.#target = target;
  }

  // --- a new one ----------------------------------------------------------------------------------

  /** @throws Refusal `picture.bad-name`, `picture.too-large`, `picture.busy` */
  begin(name: string, bytes: number, session: string): { upload: number; partBytes: number } {
    if (!PICTURE_NAME.test(name))
      throw new Refusal(
        'picture.bad-name',
        `${JSON.stringify(name.slice(0, 100))} is not the plain name of a picture; give one without a folder that ends in .png, .jpg or .svg, such as owl.jpg`,
        { name: name.slice(0, 100) },
      );
    if (bytes > MAX_PICTURE_BYTES) throw tooLarge(bytes);
    const begun = this.#uploads.begin(bytes, session);
    this.#stem = basename(name, extname(name));
    return begun;
  }

  /** @throws Refusal `picture.no-upload`, `picture.wrong-part` */
  part(given: Params<'picture.part'>, session: string): { received: number } {
    return this.#uploads.part(given, session);
  }

  /**
   * Checks what has come and writes it beside the prop file.
   * @throws Refusal; nothing was written then
   */
  async end(
    id: number,
    session: string,
  ): Promise<{ file: string; width: number; height: number; leftOut: string[] }> {
    const stem = this.#stem;
    const safe = await this.#safe(session, this.#uploads.end(id, session));
    return this.#inTurn(async () => {
      const file = await this.#write(stem, safe);
      const { width, height, leftOut } = safe;
      return { file, width, height, leftOut };
    });
  }

  /** A session is gone, or gives up its picture. Returns whether it sent one. */
  gone(session: string): boolean {
    return this.#uploads.gone(session);
  }

  async #safe(session: string, bytes: Uint8Array): Promise<SafePicture> {
    return (await this.#planner.ask(session, { about: 'picture', bytes })) as SafePicture;
  }

  #inTurn<T>(task: () => Promise<T>): Promise<T> {
    const result = this.#queue.then(task);
    this.#queue = result.catch(() => undefined);
    return result;
  }

  /** Under the first free name; the same picture is not written twice. */
  async #write(stem: string, { type, bytes }: SafePicture): Promise<string> {
    const name = { stem, ending: ENDINGS[type], most: MAX_OF_A_NAME };
    try {
      const put = await putUnderFreeName(this.#target, name, bytes, this.#fs);
      if (put) return put.file;
    } catch (error) {
      throw this.#trouble(error as NodeJS.ErrnoException, stem);
    }
    throw new Refusal(
      'picture.too-many',
      `${MAX_OF_A_NAME} pictures called ${stem} are beside the prop file; delete those that you no longer need, or give this one another name`,
      { name: stem },
    );
  }

  #trouble(error: NodeJS.ErrnoException, file: string): Refusal {
    const { code = 'failed' } = error;
    const remedy = diskRemedy(error, this.#target);
    return new Refusal(
      'picture.not-saved',
      `the picture cannot be saved (${code}); the prop file and its pictures are as they were: ${remedy}, then try again`,
      { file, errno: code },
    );
  }

  // --- the one in use -----------------------------------------------------------------------------

  /** The gateway has nothing to serve: the next who asks brings it. */
  forgetServed(): void {
    this.#shown = undefined;
  }

  /** What a session gets to know of the picture; the gateway has it by then. */
  async read(named: Named | undefined, session: string): Promise<object> {
    if (!named) return { places: {} };
    const { file, places } = named;
    try {
      const { address, width, height } = await this.#inTurn(() => this.#show(file, session));
      return { file, places, address, width, height };
    } catch (error) {
      if (error instanceof Refusal && error.word === 'session.gone') throw error;
      return { file, places, problem: problemOf(error as Error, file) };
    }
  }

  async #show(file: string, session: string): Promise<Shown> {
    const path = join(dirname(this.#target), file);
    const found = await this.#fs.stat(path, { bigint: true });
    // A device or a pipe may be endless.
    if (!found.isFile()) throw new Error('it is not a regular file');
    if (found.size > MAX_PICTURE_BYTES) throw tooLarge(Number(found.size));
    const signature = signatureOf(found);
    const known = this.#shown;
    if (known?.file === file && known.signature === signature) return known;
    // Somebody may have put it there by hand.
    const safe = await this.#safe(session, await this.#fs.readFile(path));
    const { type, width, height } = safe;
    const digest = createHmac('sha256', this.#key).update(safe.bytes).digest('base64url');
    const address = `/picture/${digest}`;
    this.#shown = { file, signature, address, width, height };
    // A copy of its own, which can be handed over.
    this.#serve({ t: 'picture', address, type, bytes: Uint8Array.from(safe.bytes) });
    return this.#shown;
  }
}

function problemOf(error: Error, file: string): string {
  if (error instanceof Refusal) return `${file}: ${error.message}`;
  const { code } = error as NodeJS.ErrnoException;
  return code === 'ENOENT'
    ? `${file} is not beside the prop file: put it there, or choose another picture`
    : `${file} cannot be read (${code ?? error.message}): check it, or choose another picture`;
}
