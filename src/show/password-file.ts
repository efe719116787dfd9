import { readSecretFile, type Unread } from '../shared/secret-file.ts';

/** A file that the prop file names cannot be used: what is wrong, and what to do. */
export class UnusableFile extends Error {}

/**
 * Reads a password from its file, without the line break at its end.
 * @throws UnusableFile with what is wrong and what to do; it never contains anything of the file
 */
export function readPasswordFile(path: string): string {
  const fail = (wrong: string, remedy: string) =>
    new UnusableFile(`password file ${path}: ${wrong}; ${remedy}`);
  const refuse = (unread: Unread) => {
    switch (unread.why) {
      case 'cannot':
        return fail(
          `cannot be read (${unread.code})`,
          'it must be a file of the user who runs this program',
        );
      case 'not a file':
        return fail('is not a regular file', 'put the password into one');
      case 'others may read it':
        return fail('others may read it', `run: chmod 600 '${path}'`);
      case 'too long':
        return fail('is too long', 'put just the password into it');
    }
  };
  const text = readSecretFile(path, refuse, 'refuse');
  if (text === '' || /[\r\n\0]/.test(text))
    throw fail('is not one line', 'put just the password into it');
  return text;
}
