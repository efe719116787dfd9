import type { Clock } from '../shared/clock.ts';
import { Refusal } from '../shared/errors.ts';
import type { RefusalCode } from '../shared/refusals.ts';

/** Bytes of a part: in base64 and with what is around it, it stays below the 64 KiB of a frame. */
const PART_BYTES = 45_000;
/** What has not come within the first, or of which no part has come within the second (ms), is dropped. */
const WITHIN_MS = 300_000;
const PAUSE_MS = 30_000;

interface Upload {
  id: number;
  session: string;
  bytes: Buffer;
  received: number;
  stopTimer: () => void;
  stopPause: () => void;
}

/** The refusals of what is sent. */
const CODES = {
  picture: {
    busy: 'picture.busy' satisfies RefusalCode,
    noUpload: 'picture.no-upload' satisfies RefusalCode,
    wrongPart: 'picture.wrong-part' satisfies RefusalCode,
  },
  sound: {
    busy: 'sound.busy' satisfies RefusalCode,
    noUpload: 'sound.no-upload' satisfies RefusalCode,
    wrongPart: 'sound.wrong-part' satisfies RefusalCode,
  },
} as const;
/** What is sent, in the words of its refusals. */
export type Uploaded = keyof typeof CODES;

/** Takes one file at a time from a session, in parts. */
export class Uploads {
  readonly #what: Uploaded;
  readonly #clock: Clock;
  #upload: Upload | undefined;
  #count = 0;

  constructor(what: Uploaded, clock: Clock) {
    this.#what = what;
    this.#clock = clock;
  }

  /** @throws Refusal `*.busy` */
  begin(bytes: number, session: string): { upload: number; partBytes: number } {
    const what = this.#what;
    if (this.#upload) {
      const own = this.#upload.session === session;
      throw new Refusal(
        CODES[what].busy,
        own
          ? `this session sends a ${what} already; end or cancel that first`
          : `somebody else sends a ${what} just now; try again when it is here`,
      );
    }
    const id = ++this.#count;
    this.#upload = {
      id,
      session,
      bytes: Buffer.alloc(bytes),
      received: 0,
      stopTimer: this.#clock.after(WITHIN_MS, () => this.#drop(id)),
      stopPause: this.#clock.after(PAUSE_MS, () => this.#drop(id)),
    };
    return { upload: id, partBytes: PART_BYTES };
  }

  /** @throws Refusal `*.no-upload`, `*.wrong-part` */
  part(
    { upload: id, at, data }: { upload: number; at: number; data: string },
    session: string,
  ): { received: number } {
    const upload = this.#mine(id, session);
    const part = Buffer.from(data, 'base64');
    // Node skips what is not base64: the way back shows it.
    const isWhole =
      part.length > 0 && part.toString('base64') === data && part.length <= PART_BYTES;
    if (!isWhole || at !== upload.received || at + part.length > upload.bytes.length)
      throw new Refusal(
        CODES[this.#what].wrongPart,
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
   * The whole file; whatever becomes of it, the next one may begin.
   * @throws Refusal `*.no-upload`, `*.wrong-part` while parts are missing
   */
  end(id: number, session: string): Buffer<ArrayBuffer> {
    const { bytes, received } = this.#mine(id, session);
    if (received < bytes.length)
      throw new Refusal(
        CODES[this.#what].wrongPart,
        `only ${received} of ${bytes.length} bytes of the ${this.#what} are here; go on at ${received}`,
        { received, bytes: bytes.length },
      );
    this.#drop(id);
    return bytes as Buffer<ArrayBuffer>;
  }

  /** A session is gone, or gives up what it sends. Returns whether it sent something. */
  gone(session: string): boolean {
    if (this.#upload?.session !== session) return false;
    this.#drop(this.#upload.id);
    return true;
  }

  #mine(id: number, session: string): Upload {
    const upload = this.#upload;
    if (upload?.id === id && upload.session === session) return upload;
    throw new Refusal(
      CODES[this.#what].noUpload,
      `no ${this.#what} ${id} of this session is being sent: it was ended, or took too long; begin again`,
      { upload: id },
    );
  }

  #drop(id: number): void {
    if (this.#upload?.id !== id) return;
    this.#upload.stopTimer();
    this.#upload.stopPause();
    this.#upload = undefined;
  }
}
