import { createHash } from 'node:crypto';
import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { CompiledForm } from '../../../src/prop/file/compiled.ts';
import { versionOf } from '../../../src/prop/file/version.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { prepare } from '../../../src/service/prepare.ts';
import fc from '../../fast-check.ts';
import { OWLET } from '../owlet.ts';
import { Rig } from '../rig.ts';

/** A start from what was worked out before, and all that must not be taken for it. */

let rig: Rig;
let program: string;
/** With a warning, which must be told at every start. */
const TEXT = OWLET.replace(
  'volts: 6.0',
  'volts: 6.0, fuse: { ratingA: 4.9, from: F1-1, to: F1-2 }',
);

beforeEach(async () => {
  program = join(await fs.mkdtemp(join(tmpdir(), 'sinew-program-')), 'service.js');
  await fs.writeFile(program, 'program one');
  rig = await Rig.open({ text: TEXT, program });
  await rig.close();
});
afterEach(() => rig.remove());
const again = async () => {
  rig = await Rig.open({ folder: rig.folder, program });
};
const path = async (kind = /^compiled-\w+\.json$/) => {
  const names = await fs.readdir(rig.state);
  return join(rig.state, names.find((name) => kind.test(name))!);
};
const NAME = 'Foyer owl';
const MARKED = 'From the form';
/** Puts another name into the kept form, its sum made right: it shows whether the form was used. */
const mark = async () => {
  const file = await path();
  const [, body] = (await fs.readFile(file, 'utf8')).split('\n') as [string, string];
  const kept = JSON.parse(body);
  kept.form.prop.name = MARKED;
  const marked = JSON.stringify(kept);
  const sum = createHash('sha256').update(marked).digest('hex');
  await fs.writeFile(file, `sinew-compiled 1 ${sum}\n${marked}`);
  return file;
};
const seen = () => {
  const { prop, view, version, status, restored } = rig.opened;
  const text = new TextDecoder().decode(view);
  return { prop, view: text, version, status, restored, complaints: rig.complaints };
};

test('a start from the form is the same as one from the text, warnings and all', async () => {
  await again();
  const quick = seen();
  expect(quick.complaints.join()).toMatch(/rails\.servo6v/);
  await rig.close();
  await fs.rm(await path());
  await again();
  expect(JSON.stringify(quick)).toBe(JSON.stringify(seen()));
  const { prop } = parseProp(TEXT, rig.file);
  expect(quick.prop.cues).toEqual(prop!.cues);
});

test('one that was made before the first start is used as well', async () => {
  await fs.rm(rig.state, { recursive: true });
  const given = { prepare: true, file: rig.file, stateDir: rig.state } as const;
  expect(await prepare(given, program)).toMatchObject({ ready: true });
  await mark();
  await again();
  expect(rig.opened.prop.name).toBe(MARKED);
});

test('the form is used, and found out later if it does not say what the text says', async () => {
  const file = await mark();
  await again();
  expect(rig.opened.prop.name).toBe(MARKED);
  await rig.pass(2000);
  expect(rig.logged.join('\n')).toMatch(
    /error: .*compiled-\w+\.json was not what the prop file says/,
  );
  await expect(fs.stat(file)).rejects.toThrow(/ENOENT/);
});

test('one that says the same is found right, and captures go on from it', async () => {
  await again();
  await rig.pass(2000);
  expect(rig.logged).toEqual([]);
  await rig.capture(['channels', 'beak', 'marks', 'open'], 28);
  expect(await rig.read()).toBe(TEXT.replace('open: 30 }', 'open: 28 }'));
});

test('a capture and its undo right after the start wait for the text to be read', async () => {
  await again();
  const { version } = await rig.capture(['channels', 'beak', 'marks', 'open'], 28);
  const after = TEXT.replace('open: 30 }', 'open: 28 }');
  expect(version).toBe(versionOf(after));
  expect(await rig.read()).toBe(after);
  await rig.undo();
  expect(await rig.read()).toBe(TEXT);
  await rig.close();
  await again();
  expect(rig.opened.version).toBe(versionOf(TEXT));
});

test('a change by hand before the text was read is taken over as ever', async () => {
  await again();
  await rig.byHand('open: 30 }', 'open: 27 }');
  await rig.pass(2000);
  expect(rig.core.version).toBe(versionOf(TEXT.replace('open: 30 }', 'open: 27 }')));
  expect(rig.logged).toEqual([]);
});

test('after a capture it is that version which is kept', async () => {
  await again();
  await rig.capture(['channels', 'beak', 'marks', 'open'], 28);
  await rig.close();
  await mark();
  await again();
  expect(rig.opened.prop.name).toBe(MARKED);
  expect(rig.opened.prop.channels.beak).toMatchObject({ marks: { open: 28 } });
});

describe('not trusted is', () => {
  test.each<[string, (file: string) => Promise<unknown>]>([
    ['that of another program', () => fs.writeFile(program, 'program two')],
    ['that of a program that cannot be read', () => fs.rm(program)],
    ['that of another text', () => fs.appendFile(rig.file, '# more\n')],
    [
      'that of a text which is not the accepted one',
      async () => {
        await fs.appendFile(await path(/^last-known/), '# more\n');
      },
    ],
    [
      'one with another sum',
      async (file) => {
        const text = await fs.readFile(file, 'utf8');
        await fs.writeFile(file, text.replace(/ [0-9a-f]{8}/, ' 00000000'));
      },
    ],
    [
      'one of another kind',
      async (file) => {
        const text = await fs.readFile(file, 'utf8');
        await fs.writeFile(file, text.replace('sinew-compiled 1', 'sinew-compiled 2'));
      },
    ],
    ['an empty one', (file) => fs.writeFile(file, '')],
    ['a folder', (file) => fs.rm(file).then(() => fs.mkdir(file))],
    ['a large one', (file) => fs.truncate(file, 17 * 1024 * 1024)],
    ['one that is gone', (file) => fs.rm(file)],
  ])('%s', async (_, change) => {
    const file = await mark();
    await change(file);
    await again();
    expect(rig.opened.prop.name).toBe(NAME);
    expect(rig.opened.status.problem).toBeUndefined();
    expect(rig.complaints.join()).toMatch(/rails\.servo6v/);
  });

  test('one that is cut off anywhere, or with any byte changed', async () => {
    const file = await mark();
    const whole = await fs.readFile(file);
    const form = new CompiledForm(rig.file, rig.state, program);
    expect(form.path).toBe(file);
    expect((await form.read(TEXT))?.prop.name).toBe(MARKED);
    await fc.assert(
      fc.asyncProperty(
        fc.nat({ max: whole.length - 1 }),
        fc.option(fc.integer({ min: 1, max: 255 })),
        async (at, flip) => {
          const damaged = Buffer.from(flip === null ? whole.subarray(0, at) : whole);
          if (flip !== null) damaged[at]! ^= flip;
          await fs.writeFile(file, damaged);
          expect(await form.read(TEXT)).toBeUndefined();
        },
      ),
      { numRuns: 200 },
    );
    await fs.writeFile(file, whole);
    expect(await form.read(`${TEXT} `)).toBeUndefined();
  });

  test('a copy of that of another prop, whose sum is right', async () => {
    const mine = await mark();
    const other = await Rig.open({ text: TEXT.replace('Foyer', 'Attic'), program });
    await other.close();
    const names = await fs.readdir(other.state);
    const theirs = join(other.state, names.find((name) => name.startsWith('compiled-'))!);
    await fs.copyFile(theirs, mine);
    await fs.rm(other.folder, { recursive: true });
    await again();
    expect(rig.opened.prop.name).toBe(NAME);
  });
});

test('where it cannot be written the prop goes on, and the next start reads the text', async () => {
  const file = await path();
  await fs.rm(file);
  // What replaces a file writes a new one beside it first.
  await fs.mkdir(`${file}.new`);
  await fs.writeFile(`${file}.new/x`, '');
  await again();
  await rig.pass(4000);
  expect(rig.logged.join('\n')).toMatch(/what was worked out from the prop file could not be kept/);
  await rig.capture(['channels', 'beak', 'marks', 'open'], 28);
  await rig.close();
  await again();
  expect(rig.opened.prop.channels.beak).toMatchObject({ marks: { open: 28 } });
});
