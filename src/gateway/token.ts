import { createHash, timingSafeEqual } from 'node:crypto';
import { Refusal } from '../shared/errors.ts';
import { readSecretFile } from '../shared/secret-file.ts';

/** The least that a token must hold: 128 bits. */
const HEX_DIGITS = 32;
const BASE64_DIGITS = 22;
/** A random token has fewer different characters than this about once in 10^16 (32 hex digits). */
const MIN_DIFFERENT = 5;

/** What is kept and compared instead of the token. */
export function hashToken(token: string): Uint8Array {
  return createHash('sha256').update(token).digest();
}

/** Compares in constant time: both sides are hashed to 32 bytes first. */
export function tokenMatches(token: string, hash: Uint8Array): boolean {
  return timingSafeEqual(hashToken(token), hash);
}

/**
 * Reads a token from its file, without the line break at its end.
 * @throws Refusal where the file is readable by others, or holds less than 128 bits.
 */
export function readTokenFile(path: string): string {
  const make = `openssl rand -hex 32 > '${path}' && chmod 600 '${path}'`;
  const refuse = (wrong: string, remedy: string) =>
    new Refusal('token.unsafe-file', `token file ${path}: ${wrong}; ${remedy}`, { file: path });

  const token = readSecretFile(path, (unread) => {
    switch (unread.why) {
      case 'cannot':
        return unread.code === 'ENOENT'
          ? refuse('there is no such file', `make one with: ${make}`)
          : refuse(
              `cannot be read (${unread.code})`,
              'it must belong to the user who runs this program',
            );
      case 'not a file':
        return refuse('is not a regular file', `make one with: ${make}`);
      case 'others may read it': {
        const octal = unread.mode.toString(8).padStart(4, '0');
        return refuse(`mode ${octal} lets others read it`, `run: chmod 600 '${path}'`);
      }
      case 'too long':
        return refuse(`${unread.bytes} bytes are not a token`, `make one with: ${make}`);
    }
  });
  const weak = weakness(token);
  if (weak) throw refuse(weak, `make a new one with: ${make}`);
  return token;
}

/** Why `token` holds less than 128 bits, or `null`. */
function weakness(token: string): string | null {
  const digits = token.replace(/=+$/, '');
  if (!/^[A-Za-z0-9+/_-]*$/.test(digits)) {
    return 'must be one line of hexadecimal or base64 digits';
  }
  const hex = /^[0-9a-fA-F]*$/.test(digits);
  const least = hex ? HEX_DIGITS : BASE64_DIGITS;
  if (digits.length < least) {
    const kind = hex ? 'hexadecimal' : 'base64';
    return `${digits.length} ${kind} digits are less than 128 bits (${least} digits)`;
  }
  if (new Set(digits).size < MIN_DIFFERENT) return 'is not a random number';
  return null;
}
