import fs, { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { AcceptedCopy } from '../../src/prop/file/accepted-copy.ts';
import { parseProp } from '../../src/prop/load.ts';
import { truncation } from '../../src/prop/truncation.ts';
import { emptyPropText } from '../../src/proposal/empty.ts';
import { makeNewFile } from '../../src/service/new-file.ts';
import { readOptions, Usage } from '../../src/startup/options.ts';

let folder: string;
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-new-file-'));
});
afterEach(() => rm(folder, { recursive: true, force: true }));
const file = () => join(folder, 'crab.yaml');
const make = () => makeNewFile('crab.yaml', file(), folder, fs);

test('an empty prop is sound, drives nothing, and is never taken for one that was cut off', async () => {
  expect(await make()).toBeUndefined();
  const text = await readFile(file(), 'utf8');
  const { prop, findings } = parseProp(text, 'crab.yaml');
  expect(findings).toEqual([]);
  expect(prop).toMatchObject({ channels: {}, boards: { main: { driver: 'sim' } } });
  expect(truncation(text, text.replace('channels: {}', 'channels: {} # more'))).toBeUndefined();
});

test('what is there stays as it is, whatever it is', async () => {
  for (const text of ['sinew: 1\n', '', 'not a prop']) {
    await writeFile(file(), text);
    expect(await make()).toBeUndefined();
    expect(await readFile(file(), 'utf8')).toBe(text);
  }
});

test('a file that is gone but was in use is not replaced by an empty one', async () => {
  await new AcceptedCopy(file(), folder).keep(emptyPropText());
  expect(await make()).toBeUndefined();
  await expect(readFile(file())).rejects.toThrow(/ENOENT/);
});

test('a folder that is missing is said', async () => {
  const wrong = await makeNewFile('x/crab.yaml', join(folder, 'x/crab.yaml'), folder, fs);
  expect(wrong).toBe('x/crab.yaml cannot be made: there is no such folder; make it first');
});

test('a disk that is full leaves nothing behind, so that the next start can make the file', async () => {
  const open: typeof fs.open = async (...args) => {
    const handle = await fs.open(...args);
    handle.writeFile = async () => {
      await handle.write('sinew: 1');
      throw Object.assign(new Error('no space left'), { code: 'ENOSPC' });
    };
    return handle;
  };
  expect(await makeNewFile('crab.yaml', file(), folder, { ...fs, open })).toMatch(
    /^crab\.yaml cannot be made: .*ENOSPC.*free some disk space/,
  );
  expect(await fs.readdir(folder)).toEqual([]);
  expect(await make()).toBeUndefined();
  expect(await readFile(file(), 'utf8')).toBe(emptyPropText());
});

test('the command line: --new with a file, in either form', () => {
  expect(readOptions(['--prop', 'a.yaml', '--new'])).toMatchObject({
    prop: 'a.yaml',
    create: true,
  });
  expect(readOptions(['--prop', 'owl.yaml', '--new', 'b.yaml'])).toMatchObject({
    ...{ prop: 'b.yaml', create: true },
  });
  expect(readOptions(['--prop', 'a.yaml'])).toMatchObject({ prop: 'a.yaml', create: false });
  for (const argv of [
    ['--prop', 'a.yaml', 'b.yaml'],
    ['--new', 'a.yaml', 'b.yaml'],
    ['--new'],
    ['--prop', 'a.yaml', '--new', '--prepare'],
  ])
    expect(() => readOptions(argv)).toThrow(Usage);
});
