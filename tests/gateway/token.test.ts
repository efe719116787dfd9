import { execFileSync } from 'node:child_process';
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { hashToken, readTokenFile, tokenMatches } from '../../src/gateway/token.ts';
import { Refusal } from '../../src/shared/errors.ts';

const folder = mkdtempSync(join(tmpdir(), 'sinew-token-'));
afterAll(() => rmSync(folder, { recursive: true }));

let files = 0;
function file(content: string, mode = 0o600): string {
  const path = join(folder, `token${files++}`);
  writeFileSync(path, content);
  chmodSync(path, mode);
  return path;
}

const HEX = '6f0c1d9b27a84e53b1d2c7f09e8a4d36';

it('the hash is SHA-256 (FIPS 180-4, example "abc")', () => {
  expect(Buffer.from(hashToken('abc')).toString('hex')).toBe(
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad',
  );
});

it('a token matches its own hash alone', () => {
  expect(tokenMatches(HEX, hashToken(HEX))).toBe(true);
  for (const other of ['', HEX.slice(1), `${HEX}0`, HEX.toUpperCase()]) {
    expect(tokenMatches(other, hashToken(HEX))).toBe(false);
  }
});

describe('token files', () => {
  // 128 bits are 32 hexadecimal digits, or 22 base64 digits (RFC 4648: 6 bits each).
  it.each([
    ['32 hex digits', `${HEX}\n`, HEX],
    ['without a line break', HEX, HEX],
    ['CR LF', `${HEX}\r\n`, HEX],
    ['22 base64 digits', 'q83vEjRWeJCrze8SNFZ4kA', 'q83vEjRWeJCrze8SNFZ4kA'],
    ['base64 with padding', 'q83vEjRWeJCrze8SNFZ4kA==\n', 'q83vEjRWeJCrze8SNFZ4kA=='],
    ['base64url', 'q83vEjRWeJCr_e8SNFZ4-A\n', 'q83vEjRWeJCr_e8SNFZ4-A'],
  ])('%s', (_name, content, token) => expect(readTokenFile(file(content))).toBe(token));

  it.each([
    ['31 hex digits', HEX.slice(1), /31 hexadecimal digits/],
    ['21 base64 digits', 'q83vEjRWeJCrze8SNFZ4k', /21 base64 digits/],
    ['padding does not count', 'q83vEjRWeJCrze8SNFZ==', /19 base64 digits/],
    ['empty', '', /0 hexadecimal digits/],
    ['a pass phrase', 'correct horse battery staple and so on', /one line/],
    ['two lines', `${HEX}\n${HEX}\n`, /one line/],
    ['zeros', '0'.repeat(32), /not a random number/],
    ['far too long', 'a1b2c3'.repeat(1000), /6000 bytes/],
  ])('refused: %s', (_name, content, why) => {
    const path = file(content);
    expect(() => readTokenFile(path)).toThrow(why);
    expect(() => readTokenFile(path)).toThrow(/openssl rand -hex 32 > /);
  });

  it.each([0o640, 0o604, 0o660, 0o644, 0o610])('refused: mode %o', (mode) => {
    const path = file(HEX, mode);
    expect(() => readTokenFile(path)).toThrow(`0${mode.toString(8)} lets others read it`);
    expect(() => readTokenFile(path)).toThrow(`chmod 600 '${path}'`);
  });

  it('mode 0400 will do', () => expect(readTokenFile(file(HEX, 0o400))).toBe(HEX));

  it('refused: no file, a folder, a named pipe', () => {
    expect(() => readTokenFile(join(folder, 'none'))).toThrow(/no such file.*openssl/);
    expect(() => readTokenFile(folder)).toThrow(/not a regular file/);
    const pipe = join(folder, 'pipe');
    execFileSync('mkfifo', ['-m', '600', pipe]);
    expect(() => readTokenFile(pipe)).toThrow(/not a regular file/);
  });

  it('never tells the token', () => {
    const path = file('hunter2');
    try {
      readTokenFile(path);
      expect.unreachable();
    } catch (error) {
      expect(error).toBeInstanceOf(Refusal);
      expect(JSON.stringify((error as Refusal).toObject())).not.toContain('hunter2');
    }
  });
});
