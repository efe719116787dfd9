import { chmodSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, it } from 'vitest';
import { readPasswordFile } from '../../src/show/password-file.ts';

const folder = mkdtempSync(join(tmpdir(), 'sinew-password-'));
afterAll(() => rmSync(folder, { recursive: true }));

const SECRET = 'a very secret word';

function file(text: string, mode = 0o600): string {
  const path = join(folder, `show-password-${Math.random()}`);
  writeFileSync(path, text);
  chmodSync(path, mode);
  return path;
}

it('reads one line, with or without the line break', () => {
  expect(readPasswordFile(file(SECRET))).toBe(SECRET);
  expect(readPasswordFile(file(`${SECRET}\n`))).toBe(SECRET);
  expect(readPasswordFile(file(`${SECRET}\r\n`))).toBe(SECRET);
});

it.each([
  ['that others may read', () => file(SECRET, 0o644), 'chmod 600'],
  ['of several lines', () => file(`${SECRET}\n${SECRET}\n`), 'not one line'],
  ['that is empty', () => file('\n'), 'not one line'],
  ['that is long', () => file(SECRET.repeat(100)), 'too long'],
  ['that is a folder', () => folder, 'not a regular file'],
  ['that is not there', () => join(folder, 'none'), 'ENOENT'],
  [
    'that is a link to another',
    () => {
      const link = join(folder, 'show-password');
      symlinkSync(file(SECRET), link);
      return link;
    },
    'ELOOP',
  ],
])('refuses a file %s, and says nothing of what is in it', (_what, make, words) => {
  const path = make();
  try {
    readPasswordFile(path);
    expect.unreachable();
  } catch (error) {
    expect((error as Error).message).toContain(words);
    expect((error as Error).message).not.toContain(SECRET);
  }
});
