import { Unzip, UnzipInflate, type Zippable, zipSync } from 'fflate';
import * as z from 'zod';
import { Refusal } from '../shared/errors.ts';
import { sha256 } from '../shared/sealed-file.ts';
import { sizeLimit } from './names.ts';

/**
 * The archive of a prop: a ZIP file, so that people can look into it on any computer. Its first file lists
 * the others with their digests. Nothing in it depends on the machine or the time at which it was made.
 */

/** A file in an archive. */
export interface Packed {
  /** As `names.ts` has it. */
  name: string;
  bytes: Uint8Array;
  /** When it was last written, where that matters (ISO 8601, UTC). */
  time?: string | undefined;
}

/** What an archive says about itself. */
export interface About {
  /** Of Sinew, which made it. */
  program: string;
  /** Of the prop, as its file says; empty where the file has errors. */
  prop: string;
  /** The version of the prop file. */
  version: string;
}

/** What is in all files together (bytes); a small board has room for it in memory. */
export const MAX_UNPACKED = 192 * 1024 * 1024;
/** The archive itself (bytes). */
export const MAX_PACKED = MAX_UNPACKED + 1024 * 1024;
const MAX_FILES = 600;

const FORMAT = 'sinew backup';
const FORMAT_VERSION = 1;
const LIST = 'sinew-backup.json';
const MAX_LIST_BYTES = 256 * 1024;
/** What is compressed already. */
const COMPRESSED = /\.(?:png|jpe?g|flac|ogg|mp3)$/i;
/** Read in pieces of this size (bytes), so that a bomb is noticed before it is large. */
const PIECE = 16 * 1024;

const list = z.strictObject({
  format: z.literal(FORMAT),
  formatVersion: z.literal(FORMAT_VERSION),
  program: z.string().max(100),
  prop: z.string().max(1000),
  version: z.string().max(100),
  files: z
    .array(
      z.strictObject({
        name: z.string().max(200),
        bytes: z.number().int().min(0),
        sha256: z.string().regex(/^[0-9a-f]{64}$/),
        time: z.iso.datetime().optional(),
      }),
    )
    .max(MAX_FILES),
});

function unusable(why: string): Refusal {
  return new Refusal('backup.unusable', `this backup cannot be used: ${why}`);
}

/** The archive of these files: the same bytes for the same content. @throws Refusal `backup.too-large` */
export function pack(files: readonly Packed[], about: About): Uint8Array {
  const sorted = files.toSorted((a, b) => (a.name < b.name ? -1 : 1));
  const total = sorted.reduce((sum, { bytes }) => sum + bytes.length, 0);
  if (total > MAX_UNPACKED || sorted.length > MAX_FILES)
    throw new Refusal(
      'backup.too-large',
      `there are ${sorted.length} files of ${Math.ceil(total / 1e6)} MB; a backup has at most ${MAX_FILES} files of ${Math.floor(MAX_UNPACKED / 1e6)} MB in all. Make the sounds shorter, or save them as FLAC, OGG or MP3`,
      { files: sorted.length, bytes: total },
    );
  const listed = {
    ...{ format: FORMAT, formatVersion: FORMAT_VERSION, ...about },
    files: sorted.map(({ name, bytes, time }) => ({
      ...{ name, bytes: bytes.length, sha256: sha256(bytes) },
      ...(time !== undefined && { time }),
    })),
  };
  const zipped: Zippable = { [LIST]: Buffer.from(`${JSON.stringify(listed, null, 1)}\n`) };
  for (const { name, bytes } of sorted)
    zipped[name] = [bytes, { level: COMPRESSED.test(name) ? 0 : 6 }];
  // The earliest date that ZIP knows. It has no time zone: the local date is the same everywhere.
  return zipSync(zipped, { mtime: new Date(1980, 0, 1) });
}

/**
 * What is in an archive. Only files with names that a backup can have are read, and no more of them than
 * their list says; nothing is written.
 * @throws Refusal `backup.unusable`
 */
export function unpack(archive: Uint8Array): { about: About; files: Packed[] } {
  if (archive.length > MAX_PACKED) throw unusable('it is larger than any backup');
  const found = inflate(archive);
  const own = found.get(LIST);
  if (!own) throw unusable(`it has no ${LIST}; give a file that "sinew backup" has written`);
  const { files, program, prop, version } = readList(own);
  found.delete(LIST);
  const packed = files.map(({ name, bytes, sha256: digest, time }): Packed => {
    const content = found.get(name);
    if (!content) throw unusable(`${name} is missing from it, or is listed twice; copy it again`);
    found.delete(name);
    if (content.length !== bytes || sha256(content) !== digest)
      throw unusable(`${name} in it is damaged; copy it again`);
    return { name, bytes: content, time };
  });
  const [other] = found.keys();
  if (other !== undefined) throw unusable(`it has ${other}, which its list does not name`);
  return { about: { program, prop, version }, files: packed };
}

function readList(bytes: Uint8Array): z.output<typeof list> {
  let value: unknown;
  try {
    value = JSON.parse(Buffer.from(bytes).toString());
  } catch {
    throw unusable(`${LIST} is not JSON; copy it again`);
  }
  const { format, formatVersion, program } = (value ?? {}) as Record<string, unknown>;
  if (format === FORMAT && typeof formatVersion === 'number' && formatVersion > FORMAT_VERSION)
    throw unusable(
      `it was written by a newer Sinew (${String(program).slice(0, 40)}, format ${formatVersion}); install that version or a later one, then restore it`,
    );
  const parsed = list.safeParse(value);
  if (!parsed.success)
    throw unusable(`${LIST} is not as "sinew backup" writes it; give another backup`);
  return parsed.data;
}

/** The files of a ZIP archive by name, within all limits. */
function inflate(archive: Uint8Array): Map<string, Uint8Array> {
  const found = new Map<string, Uint8Array>();
  let total = 0;
  let count = 0;
  const unzip = new Unzip((file) => {
    const { name } = file;
    const limit = name === LIST ? MAX_LIST_BYTES : sizeLimit(name);
    // Names reach the terminal: only those of a backup are repeated.
    if (limit === undefined) throw unusable('it has a file that no backup has');
    if (found.has(name) || ++count > MAX_FILES + 1)
      throw unusable('it has a file twice, or too many');
    const parts: Uint8Array[] = [];
    let size = 0;
    found.set(name, new Uint8Array());
    file.ondata = (error, part, final) => {
      if (error) throw error;
      size += part.length;
      total += part.length;
      if (size > limit || total > MAX_UNPACKED) throw unusable(`${name} in it is too large`);
      parts.push(part.slice());
      if (final) found.set(name, Buffer.concat(parts));
    };
    file.start();
  });
  unzip.register(UnzipInflate);
  try {
    for (let at = 0; at < archive.length; at += PIECE)
      unzip.push(archive.subarray(at, at + PIECE), at + PIECE >= archive.length);
  } catch (error) {
    if (error instanceof Refusal) throw error;
    throw unusable('it is not a ZIP file, or is damaged; copy it again');
  }
  return found;
}
