import { createHash } from 'node:crypto';
import fs from 'node:fs/promises';
import { type ReplacingFs, replaceFile } from './replace-file.ts';

/** The calls into the file system that sealed files need. */
export type SealedFs = ReplacingFs & Pick<typeof fs, 'readFile' | 'stat'>;

/**
 * The value in a JSON file that carries a digest of itself; undefined where it is not whole, too large
 * (bytes), or of another kind. @throws Error where it cannot be read
 */
export async function readSealed(
  path: string,
  magic: string,
  maxBytes: number,
  fileSystem: SealedFs = fs,
): Promise<unknown> {
  const { size } = await fileSystem.stat(path);
  if (size > maxBytes) return undefined;
  const kept = await fileSystem.readFile(path, 'utf8');
  const end = kept.indexOf('\n');
  const body = kept.slice(end + 1);
  if (kept.slice(0, Math.max(end, 0)) !== `${magic} ${sha256(body)}`) return undefined;
  return JSON.parse(body);
}

/**
 * Replaces such a file, without fsync: a power cut may leave anything, which its digest shows.
 * @param body the value as JSON
 */
export async function writeSealed(
  path: string,
  magic: string,
  body: string,
  fileSystem: SealedFs = fs,
): Promise<void> {
  await replaceFile(path, sealedText(magic, body), false, fileSystem);
}

/** The text of such a file. */
export function sealedText(magic: string, body: string): string {
  return `${magic} ${sha256(body)}\n${body}`;
}

/** Identifies a program that is all in one file, and the Node that runs it; undefined where it cannot be read. */
export function programId(
  program: string,
  fileSystem: Pick<SealedFs, 'readFile'> = fs,
): Promise<string | undefined> {
  return fileSystem.readFile(program).then(
    (bytes) => `${sha256(bytes)} ${process.version}`,
    () => undefined,
  );
}

/** In hexadecimal digits. */
export function sha256(data: string | Uint8Array): string {
  return createHash('sha256').update(data).digest('hex');
}
