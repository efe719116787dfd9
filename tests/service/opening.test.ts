import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { versionOf } from '../../src/prop/file/version.ts';
import { OWLET } from './owlet.ts';
import { Rig, type RigOptions } from './rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};
/** Ends the service, changes things on the disk, and starts it again. */
const again = async (change: () => Promise<unknown> = async () => {}) => {
  await rig.close();
  await change();
  rig = await Rig.open({ folder: rig.folder });
};
const refused = () => {
  const found = rig.messages.find(({ t }) => t === 'cannot-open');
  if (found?.t !== 'cannot-open') throw new Error('it opened');
  return found.lines;
};
const copy = async () => {
  const names = await fs.readdir(rig.state);
  return join(rig.state, names.find((name) => /^last-known-\w+\.yaml$/.test(name))!);
};
const OPEN = ['channels', 'beak', 'marks', 'open'];
/** Sound, but without the parking stages: the fan would go on while the beak parks. */
const CUT = OWLET.slice(0, OWLET.indexOf('park:\n  stages'));

test('a valid file is in use, its copy is kept, and nothing is said', async () => {
  await open();
  expect(rig.opened).toMatchObject({
    version: versionOf(OWLET),
    restored: 'none',
    status: { name: 'owl.yaml', version: versionOf(OWLET), onDisk: versionOf(OWLET) },
  });
  expect(rig.opened.status.problem).toBeUndefined();
  await rig.flush();
  expect(await fs.readFile(await copy(), 'utf8')).toBe(OWLET);
  expect(rig.opened.prop).toMatchObject({ wires: [], connectors: {} });
  expect(rig.opened.prop.channels.beak).not.toHaveProperty('wire');
  expect(Object.keys(rig.opened.prop.cueDurationsS)).toEqual(['wake', 'drowse']);
});

describe('with nothing accepted before', () => {
  test('a faulty file starts nothing, and all findings are told', async () => {
    await open({ text: OWLET.replace('speedDegS: 120', 'speedDegS: fast') });
    expect(refused().at(-1)).toBe(`sinewd: ${rig.file} has errors; nothing was started`);
    expect(refused().join('\n')).toMatch(/owl\.yaml:\d+:\d+: channels\.beak\.speedDegS/);
  });

  test('neither does one that is not there', async () => {
    await open({ text: null });
    expect(refused().join('\n')).toMatch(/there is no such file; check the path\n.*nothing was/);
  });

  test('neither does one of 10 MB, which is not read', async () => {
    await open({ text: '#'.repeat(10 * 1024 * 1024) });
    expect(refused().join('\n')).toMatch(/the file is larger than 1 MiB/);
  });
});

describe('with an accepted version', () => {
  test.each<[string, () => Promise<unknown>, RegExp]>([
    [
      'is faulty',
      () => rig.byHand('speedDegS: 120', 'speedDegS: fast'),
      /has an error: .*fast.*fix the file/,
    ],
    [
      'is not YAML',
      () => fs.writeFile(rig.file, 'channels: [\0'),
      /has an error: .*control character/,
    ],
    ['is empty', () => fs.writeFile(rig.file, ''), /has an error: .*empty/],
    ['is gone', () => fs.rm(rig.file), /cannot be read .*no such file.*put the file back \(cp '/],
    [
      'is a folder',
      () => fs.rm(rig.file).then(() => fs.mkdir(rig.file)),
      /cannot be read .*folder/,
    ],
    [
      'has 10 MB',
      () => fs.writeFile(rig.file, Buffer.alloc(1e7, 35)),
      /cannot be read|larger than/,
    ],
    [
      'is cut off',
      () => fs.writeFile(rig.file, CUT),
      /seems to be cut off: .*Put it back \(cp '.*three dots/,
    ],
  ])(
    'a file that %s is not used: the prop starts on the accepted one',
    async (_what, spoil, problem) => {
      await open();
      await again(spoil);
      const { status, prop, version } = rig.opened;
      expect(version).toBe(versionOf(OWLET));
      expect(prop.park.stages).toHaveLength(2);
      expect(status.problem).toMatch(problem);
      expect(status.pending).toBe(false);
      expect(rig.logged.join('\n')).toMatch(/warn: the prop file on the disk is not used/);
    },
  );

  test('a file that is cut off tells what it would change', async () => {
    await open();
    await again(() => fs.writeFile(rig.file, CUT));
    expect(rig.opened.status).toMatchObject({
      onDisk: versionOf(CUT),
      changed: [expect.stringContaining('park')],
    });
    // Meant so, it is taken over.
    await fs.writeFile(rig.file, `${CUT}...\n`);
    await rig.pass(1200);
    rig.core.park();
    await rig.flush();
    expect(rig.status).toMatchObject({ version: versionOf(`${CUT}...\n`), pending: false });
    expect(rig.status.problem).toBeUndefined();
  });

  test('cut off after any byte never starts by other rules', async () => {
    await open();
    await rig.close();
    const rules = JSON.stringify(rig.opened.prop);
    let trusted = 0;
    for (let length = 0; length < OWLET.length; length += 7) {
      await fs.writeFile(rig.file, OWLET.slice(0, length));
      const one = await Rig.open({ folder: rig.folder });
      if (JSON.stringify(one.opened.prop) !== rules) trusted++;
      await one.close();
    }
    expect(trusted).toBe(0);
  });

  test('a version put back by hand starts, though it is the beginning of the present one', async () => {
    await open({ text: CUT });
    await rig.capture(OPEN, 29);
    await rig.close();
    const shorter = await rig.read();
    // Longer at its end, by hand; accepted.
    await fs.writeFile(rig.file, shorter + OWLET.slice(CUT.length));
    rig = await Rig.open({ folder: rig.folder });
    await rig.capture(['channels', 'beak', 'marks', 'half'], 12);
    const kept = await fs.readdir(rig.folder);
    expect(kept).toContain('owl.yaml.~2~');
    // The history is lost, the versions are there.
    await again(async () => {
      for (const name of await fs.readdir(rig.state))
        if (name.startsWith('history')) await fs.rm(join(rig.state, name));
      await fs.copyFile(`${rig.file}.~1~`, rig.file);
    });
    expect(rig.opened.status.problem).toBeUndefined();
    expect(rig.opened.version).toBe(versionOf(CUT));
  });

  test('a second name of a file that was cut off in place is not a version', async () => {
    await open();
    await rig.close();
    // A crash between the two steps of a capture leaves the file with two names.
    await fs.link(rig.file, `${rig.file}.~1~`);
    const handle = await fs.open(rig.file, 'r+');
    await handle.truncate(CUT.length);
    await handle.close();
    rig = await Rig.open({ folder: rig.folder });
    expect(rig.opened.status.problem).toMatch(/cut off/);
    expect(rig.opened.version).toBe(versionOf(OWLET));
    await rig.flush();
    expect(await fs.readdir(rig.folder)).not.toContain('owl.yaml.~1~');
  });

  test.each<[string, (path: string) => Promise<unknown>]>([
    ['cut off', (path) => fs.truncate(path, 200)],
    ['emptied', (path) => fs.truncate(path, 0)],
    ['garbage', (path) => fs.writeFile(path, Buffer.from([0, 255, 254, 1, 2]))],
    ['longer than the file', (path) => fs.appendFile(path, '  - [')],
    ['a folder', (path) => fs.rm(path).then(() => fs.mkdir(path))],
    ['huge', (path) => fs.writeFile(path, Buffer.alloc(2e6, 35))],
  ])('a copy that is %s keeps no sound file from starting', async (_what, spoil) => {
    await open();
    await again(async () => spoil(await copy()));
    expect(rig.opened.version).toBe(versionOf(OWLET));
    expect(rig.opened.status.problem).toBeUndefined();
  });

  test('a damaged history keeps nothing from starting', async () => {
    await open();
    for (const spoilt of ['[{"version":1}]', '{', '[null,3,"x"]', '{"a":1}']) {
      await again(async () => {
        const name = (await fs.readdir(rig.state)).find((one) => one.startsWith('history'))!;
        await fs.writeFile(join(rig.state, name), spoilt);
      });
      expect(rig.opened.version).toBe(versionOf(OWLET));
      expect(await rig.question('prop.history')).toMatchObject({
        versions: [{ version: versionOf(OWLET), who: 'by hand' }],
      });
    }
  });
});

test('a state folder that cannot be made starts nothing, and names the remedy', async () => {
  await open({ text: null });
  await fs.writeFile(rig.file, OWLET);
  await fs.rm(rig.state, { recursive: true, force: true });
  await fs.writeFile(rig.state, 'a file in its place');
  rig = await Rig.open({ folder: rig.folder });
  expect(refused().at(-1)).toMatch(/state cannot be kept: E.*--state-dir/);
});

describe('a thread that takes the place of a dead one', () => {
  test('goes by the version that the core has, and offers what is on the disk', async () => {
    await open();
    await rig.close();
    await rig.byHand('Foyer owl', 'Night owl');
    const { folder } = rig;
    rig = await Rig.open({ folder, resumed: versionOf(OWLET) });
    await rig.flush();
    expect(rig.messages.some(({ t }) => t === 'opened')).toBe(false);
    expect(rig.core.changes.map(({ begin }) => begin.changed)).toEqual([
      ['name: "Foyer owl" becomes "Night owl"'],
    ]);
  });

  test('finds it among the versions when file and copy are others', async () => {
    await open();
    await rig.capture(OPEN, 29);
    await rig.close();
    rig = await Rig.open({ folder: rig.folder, resumed: versionOf(OWLET) });
    await rig.flush();
    expect(rig.core.changes.map(({ begin }) => begin.changed)).toEqual([
      ['marks.open of beak: 30 becomes 29'],
    ]);
  });

  test('with a faulty file goes on', async () => {
    await open();
    await rig.close();
    await fs.writeFile(rig.file, 'x: [');
    rig = await Rig.open({ folder: rig.folder, resumed: versionOf(OWLET) });
    expect(rig.status).toMatchObject({ version: versionOf(OWLET), problem: expect.anything() });
  });
});
