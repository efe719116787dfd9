import fs from 'node:fs/promises';
import { basename } from 'node:path';
import { putBeside } from '../service/beside-file.ts';
import { Refusal } from '../shared/errors.ts';
import { MAX_PACKED } from './archive.ts';
import { readWithin } from './collect.ts';

/** Writes an archive, whole or not at all. @throws Refusal `command.cannot-write` */
export async function writeArchive(file: string, archive: Uint8Array): Promise<void> {
  try {
    await putBeside(file, basename(file), archive, fs);
  } catch (error) {
    const { message } = error as Error;
    throw new Refusal('command.cannot-write', `cannot write ${file}: ${message}`, { file });
  }
}

/** @throws Refusal `file.unreadable` */
export async function readArchive(file: string): Promise<Uint8Array> {
  // The way to it may be a link; what it leads to must be a file.
  const path = await fs.realpath(file).catch(() => file);
  const read = await readWithin(path, MAX_PACKED);
  if (typeof read !== 'string') return read;
  throw new Refusal('file.unreadable', `${file} cannot be read (${read}); give a backup`, {
    file,
  });
}
