import {
  chmod,
  mkdir,
  mkdtemp,
  readdir,
  readFile,
  rm,
  truncate,
  utimes,
  writeFile,
} from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { CheckCache } from '../../src/cli/check-cache.ts';
import type { Finding } from '../../src/prop/finding.ts';

let folder: string;
let program: string;
const FOUND: Finding[] = [
  { severity: 'warning', line: 3, column: 5, path: 'cues.w[0]', wrong: 'odd', right: 'look' },
];

beforeEach(async () => {
  const root = await mkdtemp(join(tmpdir(), 'sinew-cache-'));
  folder = join(root, 'a', 'sinew');
  program = join(root, 'program.js');
  await writeFile(program, 'one');
});
afterEach(() => rm(join(folder, '..', '..'), { recursive: true }));

const cache = () => new CheckCache(folder, program);
async function entry(): Promise<string> {
  const [name] = await readdir(folder);
  return join(folder, name!);
}

test('what was found is found again, for the same text and program alone', async () => {
  expect(await cache().read('text')).toBeUndefined();
  await cache().keep('text', FOUND);
  expect(await cache().read('text')).toEqual(FOUND);
  expect(await cache().read('text ')).toBeUndefined();
  await writeFile(program, 'two');
  expect(await cache().read('text')).toBeUndefined();
  await writeFile(program, 'one');
  expect(await cache().read('text')).toEqual(FOUND);
});

test('an entry that is damaged, anywhere, counts as none', async () => {
  await cache().keep('text', FOUND);
  const path = await entry();
  const whole = await readFile(path);
  for (let at = 0; at < whole.length; at++) {
    const spoilt = Buffer.from(whole);
    spoilt[at]! ^= 1;
    await writeFile(path, spoilt);
    expect(await cache().read('text')).toBeUndefined();
  }
  for (const length of [0, 1, whole.length - 1]) {
    await writeFile(path, whole);
    await truncate(path, length);
    expect(await cache().read('text')).toBeUndefined();
  }
  await cache().keep('text', FOUND);
  expect(await cache().read('text')).toEqual(FOUND);
});

test('an entry under the name of another text is not taken for it', async () => {
  await cache().keep('one', FOUND);
  const path = await entry();
  const one = await readFile(path);
  await rm(path);
  await cache().keep('two', []);
  await writeFile(await entry(), one);
  expect(await cache().read('two')).toBeUndefined();
});

test('without a folder, a program or the right to write there is no cache and no error', async () => {
  for (const none of [
    new CheckCache(undefined, program),
    new CheckCache(folder, undefined),
    new CheckCache(folder, join(folder, 'gone')),
  ]) {
    await none.keep('text', FOUND);
    expect(await none.read('text')).toBeUndefined();
  }
  await mkdir(join(folder, '..'), { recursive: true });
  // A file stands where the folder belongs.
  await writeFile(folder, '');
  await cache().keep('text', FOUND);
  expect(await cache().read('text')).toBeUndefined();
  await chmod(folder, 0o600);
});

test('it does not grow without end: the oldest entries go', async () => {
  for (let i = 0; i < 55; i++) {
    await cache().keep(`text ${i}`, FOUND);
    for (const name of await readdir(folder)) if (i === 0) await utimes(join(folder, name), 1, 1);
  }
  expect(await readdir(folder)).toHaveLength(50);
  expect(await cache().read('text 0')).toBeUndefined();
  expect(await cache().read('text 54')).toEqual(FOUND);
});

test('a program that runs from its sources has none: they change', async () => {
  const own = CheckCache.of({ XDG_CACHE_HOME: folder, HOME: folder });
  await own.keep('text', FOUND);
  expect(await own.read('text')).toBeUndefined();
});
