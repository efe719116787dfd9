import { createHash } from 'node:crypto';

/** The version of a text: `sha256` of it, the first 16 hexadecimal digits. */
export function versionOf(text: string): string {
  return createHash('sha256').update(text).digest('hex').slice(0, 16);
}

/** An id for the files that belong to one prop file, in a folder that several prop files share. */
export function fileId(file: string): string {
  return createHash('sha256').update(file).digest('hex').slice(0, 8);
}
