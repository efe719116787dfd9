import { closeSync, constants, fstatSync, openSync, readFileSync } from 'node:fs';

const LIMIT_BYTES = 1024;

/** A file that the prop file names cannot be used: what is wrong, and what to do. */
export class UnusableFile extends Error {}

/**
 * Reads a password from its file, without the line break at its end.
 * @throws UnusableFile with what is wrong and what to do; it never contains anything of the file
 */
export function readPasswordFile(path: string): string {
  const fail = (wrong: string, remedy: string) =>
    new UnusableFile(`password file ${path}: ${wrong}; ${remedy}`);
  let file: number;
  try {
    // O_NONBLOCK: a named pipe must not keep the thread waiting for a writer.
    file = openSync(path, constants.O_RDONLY | constants.O_NONBLOCK | constants.O_NOFOLLOW);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw fail(`cannot be read (${code})`, 'it must be a file of the user who runs this program');
  }
  try {
    // Looked at through the open file, so that it cannot be exchanged in between.
    const stat = fstatSync(file);
    if (!stat.isFile()) throw fail('is not a regular file', 'put the password into one');
    if ((stat.mode & 0o077) !== 0) throw fail('others may read it', `run: chmod 600 '${path}'`);
    if (stat.size > LIMIT_BYTES) throw fail('is too long', 'put just the password into it');
    const text = readFileSync(file, 'utf8').replace(/\r?\n$/, '');
    if (text === '' || /[\r\n\0]/.test(text))
      throw fail('is not one line', 'put just the password into it');
    return text;
  } finally {
    closeSync(file);
  }
}
