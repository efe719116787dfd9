import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { CompiledForm } from '../../src/prop/file/compiled.ts';
import { prepare } from '../../src/service/prepare.ts';
import { OWLET } from './owlet.ts';

let folder: string;
let file: string;
let state: string;
let program: string;
beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-prepare-'));
  file = join(folder, 'prop.yaml');
  state = join(folder, 'state');
  program = join(folder, 'service.js');
  await fs.writeFile(program, 'program one');
  await fs.writeFile(file, OWLET);
});
afterEach(() => fs.rm(folder, { recursive: true }));

const run = () => prepare({ prepare: true, file, stateDir: state }, program);
const kept = async (text: string) => {
  const target = await fs.realpath(file);
  return (await new CompiledForm(target, state, program).read(text)) !== undefined;
};

test('keeps what was worked out from the file, and nothing else', async () => {
  expect(await run()).toEqual({ ready: true, text: `${file} is ready for its next start` });
  expect(await kept(OWLET)).toBe(true);
  // Neither copy nor history: nothing runs by this file yet.
  expect(await fs.readdir(state)).toEqual([expect.stringMatching(/^compiled-\w+\.json$/)]);
  expect(await fs.readFile(file, 'utf8')).toBe(OWLET);
  expect(await run()).toMatchObject({ ready: true });
});

test('a file with an error is told with its place, and not kept', async () => {
  const wrong = OWLET.replace('volts: 6.0', 'volts: six');
  await fs.writeFile(file, wrong);
  const { ready, text } = await run();
  expect(ready).toBe(false);
  expect(text).toMatch(/prop\.yaml:\d+:\d+: rails\.servo6v\.volts: /);
  expect(await fs.readdir(state)).toEqual([]);
});

describe('what cannot be', () => {
  test.each([
    ['no file', () => fs.rm(file), /prop\.yaml/],
    ['a state folder that is a file', () => fs.writeFile(state, ''), /state/],
  ])('%s is told', async (_name, spoil, wanted) => {
    await spoil();
    expect(await run()).toEqual({ ready: false, text: expect.stringMatching(wanted) });
  });
});
