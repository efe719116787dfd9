import fs, { constants, type Stats } from 'node:fs';
import { MAX_SOUND_BYTES } from './limits.ts';
import { SoundError } from './sound-error.ts';

/** A pipe without a writer is opened at once, so that it can be refused. */
const FLAGS = constants.O_RDONLY | constants.O_NONBLOCK;

/** @throws SoundError where it is not a file, or is too large */
export function mustBeSoundFile(stats: Pick<Stats, 'size' | 'isFile'>): void {
  // A device or a pipe may be endless, and to open one may set it going.
  if (!stats.isFile()) throw new SoundError('it is not a regular file', 'put a sound file there');
  mustFitBytes(stats.size);
}

/** @throws SoundError where a sound has too many bytes */
export function mustFitBytes(bytes: number): void {
  if (bytes > MAX_SOUND_BYTES) throw tooManyBytes(bytes);
}

export function tooManyBytes(bytes: number): SoundError {
  return new SoundError(
    `it has ${(bytes / 1e6).toFixed(1)} MB, and ${MAX_SOUND_BYTES / 1e6} MB are allowed`,
    'make it shorter, or save it as FLAC, OGG or MP3',
  );
}

/** Reads a sound file at once. @throws SoundError, and what the file system throws */
export function readSoundSync(path: string): Buffer<ArrayBuffer> {
  mustBeSoundFile(fs.statSync(path));
  const handle = fs.openSync(path, FLAGS);
  try {
    // Another file may be there by now.
    mustBeSoundFile(fs.fstatSync(handle));
    return fs.readFileSync(handle);
  } finally {
    fs.closeSync(handle);
  }
}

/** Reads a sound file. @throws SoundError, and what the file system throws */
export async function readSound(path: string): Promise<Buffer<ArrayBuffer>> {
  mustBeSoundFile(await fs.promises.stat(path));
  const handle = await fs.promises.open(path, FLAGS);
  try {
    mustBeSoundFile(await handle.stat());
    return await handle.readFile();
  } finally {
    await handle.close();
  }
}

/** What is wrong with a file that could not be read or decoded, and what to do. */
export function soundProblem(error: Error): { wrong: string; right: string } {
  if (error instanceof SoundError) return { wrong: error.message, right: error.right };
  const { code } = error as NodeJS.ErrnoException;
  return code === 'ENOENT'
    ? { wrong: 'it is not beside the prop file', right: 'put it there, or correct the name' }
    : { wrong: `it cannot be read (${code ?? error.message})`, right: 'check its rights' };
}
