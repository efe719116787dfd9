import { createHmac, randomBytes } from 'node:crypto';
import fs from 'node:fs/promises';
import { basename, dirname, extname, join } from 'node:path';
import { signatureOf } from '../prop/file/prop-disk.ts';
import { MAX_PICTURE_BYTES, PICTURE_NAME } from '../prop/picture/name.ts';
import { ENDINGS, type SafePicture } from '../prop/picture/safe-picture.ts';
import { tooLarge } from '../prop/picture/size.ts';
import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import { type BesideFs, diskRemedy, putBeside } from './beside-file.ts';
import type { PlannerPort } from './planner.ts';
import type { ServedPicture } from './protocol.ts';

/** What keeping pictures needs of the file system; tests put faults in. */
export type PictureFs = BesideFs;

/** Bytes of a part: in base64 and with what is around it, it stays below the 64 KiB of a frame. */
const PART_BYTES = 45_000;
/** A picture that has not come within the first, or of which no part has come within the second (ms). */
const WITHIN_MS = 300_000;
const PAUSE_MS = 30_000;
/** Pictures of one name that are kept: the next one gets a number. */
const MAX_OF_A_NAME = 30;

interface Upload {
  id: number;
  session: string;
  /** Without its ending. */
  stem: string;
  bytes: Buffer;
  received: number;
  stopTimer: () => void;
  stopPause: () => void;
}

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
  readonly #clock: Clock;
  readonly #serve: (picture: ServedPicture) => void;
  readonly #fs: PictureFs;
  /** The prop file, with all links followed. */
  #target = '';
  #upload: Upload | undefined;
  #uploads = 0;
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
    this.#clock = clock;
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
    if (this.#upload) {
      const own = this.#upload.session === session;
      throw new Refusal(
        'picture.busy',
        own
          ? 'this session sends a picture already; end or cancel that first'
          : 'somebody else sends a picture just now; try again when it is here',
      );
    }
    const id = ++this.#uploads;
    this.#upload = {
      id,
      session,
      stem: basename(name, extname(name)),
      bytes: Buffer.alloc(bytes),
      received: 0,
      stopTimer: this.#clock.after(WITHIN_MS, () => this.#drop(id)),
      stopPause: this.#clock.after(PAUSE_MS, () => this.#drop(id)),
    };
    return { upload: id, partBytes: PART_BYTES };
  }

  /** @throws Refusal `picture.no-upload`, `picture.wrong-part` */
  part(
    { upload: id, at, data }: { upload: number; at: number; data: string },
    session: string,
  ): { received: number } {
    const upload = this.#mine(id, session);
    const part = Buffer.from(data, 'base64');
    // Node skips what is not base64: the way back shows it.
    const sound = part.length > 0 && part.toString('base64') === data && part.length <= PART_BYTES;
    if (!sound || at !== upload.received || at + part.length > upload.bytes.length)
      throw new Refusal(
        'picture.wrong-part',
        `the part at ${at} does not follow: ${upload.received} of ${upload.bytes.length} bytes are here, and a part is base64 of 1 to ${PART_BYTES} bytes; go on at ${upload.received}`,
        { received: upload.received, bytes: upload.bytes.length },
      );
    part.copy(upload.bytes, at);
    upload.received += part.length;
    upload.stopPause();
    upload.stopPause = this.#clock.after(PAUSE_MS, () => this.#drop(id));
    return { received: upload.received };
  }

  /**
   * Checks what has come and writes it beside the prop file.
   * @throws Refusal; nothing was written then
   */
  async end(
    id: number,
    session: string,
  ): Promise<{ file: string; width: number; height: number; leftOut: string[] }> {
    const { bytes, received, stem } = this.#mine(id, session);
    if (received < bytes.length)
      throw new Refusal(
        'picture.wrong-part',
        `only ${received} of ${bytes.length} bytes of the picture are here; go on at ${received}`,
        { received, bytes: bytes.length },
      );
    // Whatever becomes of it: the next one may begin.
    this.#drop(id);
    const safe = await this.#safe(session, bytes);
    return this.#inTurn(async () => {
      const file = await this.#write(stem, safe);
      const { width, height, leftOut } = safe;
      return { file, width, height, leftOut };
    });
  }

  /** A session is gone, or gives up its picture. Returns whether it sent one. */
  gone(session: string): boolean {
    if (this.#upload?.session !== session) return false;
    this.#drop(this.#upload.id);
    return true;
  }

  #mine(id: number, session: string): Upload {
    const upload = this.#upload;
    if (upload?.id === id && upload.session === session) return upload;
    throw new Refusal(
      'picture.no-upload',
      `no picture ${id} of this session is being sent: it was ended, or took too long; begin again`,
      { upload: id },
    );
  }

  #drop(id: number): void {
    if (this.#upload?.id !== id) return;
    this.#upload.stopTimer();
    this.#upload.stopPause();
    this.#upload = undefined;
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
    const folder = dirname(this.#target);
    for (let n = 1; n <= MAX_OF_A_NAME; n++) {
      const file = `${stem}${n === 1 ? '' : `-${n}`}.${ENDINGS[type]}`;
      const path = join(folder, file);
      try {
        const found = await this.#fs.stat(path).catch((error) => {
          if (error.code === 'ENOENT') return undefined;
          throw error;
        });
        if (found) {
          const same = found.isFile() && found.size === bytes.length;
          if (same && (await this.#fs.readFile(path)).equals(bytes)) return file;
          continue;
        }
        await putBeside(this.#target, file, bytes, this.#fs);
        return file;
      } catch (error) {
        throw this.#trouble(error as NodeJS.ErrnoException, file);
      }
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
