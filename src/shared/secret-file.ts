import { closeSync, constants, fstatSync, openSync, readFileSync } from 'node:fs';

/** Why a file with a secret is not read. */
export type Unread =
  | { why: 'cannot'; code: string | undefined }
  | { why: 'not a file' }
  | { why: 'others may read it'; mode: number }
  | { why: 'too long'; bytes: number };

const LIMIT_BYTES = 1024;

/**
 * Reads a file with a secret, which nobody else may read, without the line break at its end.
 * @param refuse makes what is thrown where it is not read; nothing of the file is in there
 * @param link what a symbolic link counts as: the file that it names, or nothing that can be read
 */
export function readSecretFile(
  path: string,
  refuse: (unread: Unread) => Error,
  link: 'follow' | 'refuse' = 'follow',
): string {
  const noFollow = link === 'refuse' ? constants.O_NOFOLLOW : 0;
  let file: number;
  try {
    // O_NONBLOCK: a named pipe must not make the thread wait for a writer.
    file = openSync(path, constants.O_RDONLY | constants.O_NONBLOCK | noFollow);
  } catch (error) {
    throw refuse({ why: 'cannot', code: (error as NodeJS.ErrnoException).code });
  }
  try {
    // Looked at through the open file, so that it cannot be exchanged in between.
    const stat = fstatSync(file);
    if (!stat.isFile()) throw refuse({ why: 'not a file' });
    const mode = stat.mode & 0o777;
    if ((mode & 0o077) !== 0) throw refuse({ why: 'others may read it', mode });
    if (stat.size > LIMIT_BYTES) throw refuse({ why: 'too long', bytes: stat.size });
    return readFileSync(file, 'utf8').replace(/\r?\n$/, '');
  } finally {
    closeSync(file);
  }
}
