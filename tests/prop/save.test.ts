import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { type FileSystem, PropFile } from '../../src/prop/save.ts';
import type { ServoChannel } from '../../src/prop/schema.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { OWL } from './helpers.ts';

let folder: string;
let file: string;
beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-save-'));
  file = join(folder, 'owl.yaml');
  await fs.writeFile(file, OWL);
});
afterEach(() => fs.rm(folder, { recursive: true }));

const OPEN = ['channels', 'beak', 'marks', 'open'];
const LIMITS = ['channels', 'beak', 'limitsDeg'];

async function open(fileSystem?: FileSystem): Promise<PropFile> {
  const { propFile, loaded } = await PropFile.open(file, fileSystem);
  expect(loaded.findings).toEqual([]);
  return propFile;
}

const onDisk = () => fs.readFile(file, 'utf8');
const byHand = async (from: string, to: string) => {
  const text = await onDisk();
  expect(text).toContain(from);
  await fs.writeFile(file, text.replace(from, to));
};

/** The refusal that a promise ends in. */
async function refusal(promise: Promise<unknown>): Promise<Refusal> {
  const error = await promise.then(
    () => 'it was done',
    (reason: unknown) => reason,
  );
  expect(error).toBeInstanceOf(Refusal);
  return error as Refusal;
}

describe('a change', () => {
  test('touches its value and nothing else', async () => {
    const propFile = await open();
    const prop = await propFile.change([{ path: OPEN, value: 28.5 }]);
    expect((prop.channels.beak as ServoChannel).marks).toEqual({ shut: 0, open: 28.5 });
    expect(propFile.prop).toBe(prop);
    expect(await onDisk()).toBe(
      OWL.replace('marks: { shut: 0, open: 30 } #', 'marks: { shut: 0, open: 28.5 } #'),
    );
  });

  test('adds a mark, and a map of marks where there was none', async () => {
    await byHand(
      '    marks: { folded: 2, spread: 80 }\n    park: { to: folded,',
      '    park: { to: 2,',
    );
    const text = await onDisk();
    const propFile = await open();
    await propFile.change([{ path: ['channels', 'beak', 'marks', 'half'], value: 15 }]);
    await propFile.change([{ path: ['channels', 'wing_left', 'marks', 'up'], value: 70 }]);
    const lines = (await onDisk()).split('\n');
    expect(lines.filter((line) => !text.split('\n').includes(line))).toEqual([
      '    marks: { shut: 0, open: 30, half: 15 } # captured by jogging',
      '    marks: { up: 70 }',
    ]);
    expect(parse(await onDisk()).channels.wing_left.marks).toEqual({ up: 70 });
  });

  test('of both limits at once', async () => {
    const propFile = await open();
    await propFile.change([{ path: LIMITS, value: [-6, 36] }]);
    expect(await onDisk()).toBe(OWL.replace('limitsDeg: [-5, 35] #', 'limitsDeg: [-6, 36] #'));
  });

  test('that makes the file wrong is refused, and nothing is written', async () => {
    const propFile = await open();
    const error = await refusal(propFile.change([{ path: OPEN, value: 36 }]));
    expect(error.kind).toBe('outOfLimits');
    expect(error.message).toMatch(
      /owl\.yaml:\d+:\d+: channels\.beak\.marks\.open: 36 deg is outside/,
    );
    expect(await onDisk()).toBe(OWL);
    expect(await fs.readdir(folder)).toEqual(['owl.yaml']);
  });

  test('to what is there already writes nothing', async () => {
    const propFile = await open();
    await propFile.change([{ path: OPEN, value: 30 }]);
    expect(await fs.readdir(folder)).toEqual(['owl.yaml']);
  });

  test('is all or none', async () => {
    const propFile = await open();
    const edits = [
      { path: OPEN, value: 20 },
      { path: ['channels', 'beak', 'marks', 'far'], value: 99 },
    ];
    expect((await refusal(propFile.change(edits))).kind).toBe('outOfLimits');
    expect(await onDisk()).toBe(OWL);
  });

  test('many at once come one after the other, none lost', async () => {
    const propFile = await open();
    const names = Array.from({ length: 12 }, (_, i) => `m${i}`);
    await Promise.all(
      names.map((name, i) =>
        propFile.change([{ path: ['channels', 'beak', 'marks', name], value: i }]),
      ),
    );
    const marks = parse(await onDisk()).channels.beak.marks;
    expect(Object.keys(marks)).toEqual(['shut', 'open', ...names]);
  });

  test('after a refused one works', async () => {
    const propFile = await open();
    const bad = propFile.change([{ path: OPEN, value: 99 }]);
    const good = propFile.change([{ path: OPEN, value: 29 }]);
    await refusal(bad);
    await good;
    expect(await onDisk()).toContain('open: 29 }');
  });

  test('goes through a symbolic link and keeps the mode', async () => {
    await fs.mkdir(join(folder, 'real'));
    const real = join(folder, 'real', 'prop.yaml');
    await fs.rename(file, real);
    await fs.chmod(real, 0o640);
    await fs.symlink(real, file);
    const propFile = await open();
    await propFile.change([{ path: OPEN, value: 28 }]);
    expect((await fs.lstat(file)).isSymbolicLink()).toBe(true);
    expect((await fs.stat(real)).mode & 0o777).toBe(0o640);
    expect(await fs.readFile(real, 'utf8')).toContain('open: 28 }');
    expect((await fs.readdir(join(folder, 'real'))).sort()).toEqual(['prop.yaml', 'prop.yaml.~1~']);
  });
});

describe('a file changed by hand meanwhile', () => {
  test('keeps what was changed, and its comments', async () => {
    const propFile = await open();
    await byHand('speedDegS: 120\n', 'speedDegS: 110 # quieter\n');
    await byHand('name: Foyer owl', 'name: Old owl');
    const prop = await propFile.change([{ path: OPEN, value: 28 }]);
    expect(prop.name).toBe('Old owl');
    expect(await onDisk()).toBe(
      OWL.replace('speedDegS: 120\n', 'speedDegS: 110 # quieter\n')
        .replace('name: Foyer owl', 'name: Old owl')
        .replace('shut: 0, open: 30 } # c', 'shut: 0, open: 28 } # c'),
    );
  });

  test('in the same place is refused with that place, also when tried again', async () => {
    const propFile = await open();
    await byHand('open: 30 } # c', 'open: 31 } # c');
    const text = await onDisk();
    for (let i = 0; i < 2; i++) {
      const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
      expect(error.kind).toBe('condition');
      const line = OWL.split('\n').findIndex((row) => row.includes('open: 30 } # c')) + 1;
      expect(error.message).toMatch(
        new RegExp(
          `owl\\.yaml:${line}:29: channels\\.beak\\.marks\\.open was changed by hand from 30 to 31`,
        ),
      );
      expect(error.message).toMatch(/restart the daemon/);
      expect(await onDisk()).toBe(text);
    }
  });

  test('so that the angle would mean something else is refused', async () => {
    const propFile = await open();
    await byHand('[[1000, -45], [1500, 0]', '[[1000, -45], [1520, 0]');
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.kind).toBe('condition');
    expect(error.message).toMatch(/channels\.beak\.calibration was changed by hand/);
    // Other servos are not concerned.
    await propFile.change([{ path: ['channels', 'lid_left', 'marks', 'half'], value: 20 }]);
    // A change of another channel does not make the file's calibration the daemon's.
    expect((await refusal(propFile.change([{ path: OPEN, value: 28 }]))).kind).toBe('condition');
  });

  test('so that the channel is gone is refused', async () => {
    const propFile = await open();
    await byHand('\n  fan:\n', '\n  fan_2:\n');
    await byHand('[mist, fan]', '[mist, fan_2]');
    const wire = ['channels', 'fan', 'wire', 'lengthM'];
    const error = await refusal(propFile.change([{ path: wire, value: 2 }]));
    expect(error.message).toMatch(/channels\.fan was changed by hand/);
    expect(await onDisk()).toContain('fan_2');
  });

  test('into one with errors is refused with the first', async () => {
    const propFile = await open();
    await byHand('speedDegS: 120', 'speedDegS: fast');
    const text = await onDisk();
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.kind).toBe('condition');
    expect(error.message).toMatch(/owl\.yaml:\d+:\d+: channels\.beak\.speedDegS: "fast" is not/);
    expect(await onDisk()).toBe(text);
    await byHand('speedDegS: fast', 'speedDegS: 100');
    await propFile.change([{ path: OPEN, value: 28 }]);
    expect(await onDisk()).toContain('open: 28 }');
  });

  test('or emptied, or removed, is refused', async () => {
    const propFile = await open();
    await fs.writeFile(file, '');
    expect((await refusal(propFile.change([{ path: OPEN, value: 28 }]))).kind).toBe('condition');
    await fs.rm(file);
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.kind).toBe('internal');
    expect(error.message).toMatch(/cannot be read \(ENOENT\).*put the file back/);
    expect(await fs.readdir(folder)).toEqual([]);
  });

  test('in the very moment of writing is merged, too', async () => {
    let edits = 0;
    const propFile = await open({
      ...fs,
      rename: async (from, to) => {
        // After the version is kept, before the file is replaced.
        if (String(to).endsWith('~') && edits++ === 0) await byHand('Foyer owl', 'Night owl');
        return fs.rename(from, to);
      },
    });
    await propFile.change([{ path: OPEN, value: 28 }]);
    const text = await onDisk();
    expect(text).toContain('name: Night owl');
    expect(text).toContain('open: 28 }');
    expect((await fs.readdir(folder)).sort()).toEqual(['owl.yaml', 'owl.yaml.~1~', 'owl.yaml.~2~']);
  });

  test('again and again is given up', async () => {
    let edits = 0;
    const propFile = await open({
      ...fs,
      rename: async (from, to) => {
        if (String(to).endsWith('~'))
          await byHand(/name: .*/.exec(await onDisk())![0], `name: n${edits++}`);
        return fs.rename(from, to);
      },
    });
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.message).toMatch(/keeps changing; try again/);
    expect(parse(await onDisk()).channels.beak.marks.open).toBe(30);
  });
});

describe('versions', () => {
  test('are kept beside the file, the last ten', async () => {
    const propFile = await open();
    // What only looks like a version is left alone.
    await fs.writeFile(join(folder, 'owl.yaml.~x~'), 'mine');
    for (let i = 0; i < 13; i++) await propFile.change([{ path: OPEN, value: 10 + i }]);
    const names = await fs.readdir(folder);
    const kept = Array.from({ length: 10 }, (_, i) => `owl.yaml.~${i + 4}~`);
    expect(names.sort()).toEqual(['owl.yaml', 'owl.yaml.~x~', ...kept].sort());
    // Each is what its change replaced: the first replaced the demo's 30, the 13th replaced 21.
    for (const [i, name] of kept.entries())
      expect(parse(await fs.readFile(join(folder, name), 'utf8')).channels.beak.marks.open).toBe(
        10 + i + 2,
      );
  });

  test('start with the file as it was', async () => {
    await (await open()).change([{ path: OPEN, value: 20 }]);
    expect(await fs.readFile(`${file}.~1~`, 'utf8')).toBe(OWL);
    await (await open()).change([{ path: OPEN, value: 21 }]);
    expect(await fs.readFile(`${file}.~2~`, 'utf8')).toBe(
      OWL.replace('open: 30 } # c', 'open: 20 } # c'),
    );
  });
});

describe('a write that fails', () => {
  /** A file system in which the `at`th call that changes anything fails with `code`. */
  function failing(code: string, at: number): { fileSystem: FileSystem; calls: string[] } {
    const calls: string[] = [];
    const step = (name: string) => {
      calls.push(name);
      if (calls.length === at) throw Object.assign(new Error(code), { code });
    };
    const fileSystem: FileSystem = {
      ...fs,
      rename: async (from, to) => {
        step('rename');
        return fs.rename(from, to);
      },
      open: (async (path: string, flags: string, mode?: number) => {
        step(`open ${flags}`);
        const handle = await fs.open(path, flags, mode);
        return new Proxy(handle, {
          get(target, key) {
            const method = Reflect.get(target, key);
            if (typeof method !== 'function') return method;
            return async (...args: unknown[]) => {
              if (key === 'writeFile' || key === 'sync') {
                // A full disk takes a part of the data first.
                if (key === 'writeFile' && calls.length + 1 === at)
                  await target.writeFile(String(args[0]).slice(0, 100));
                step(key);
              }
              return method.apply(target, args);
            };
          },
        });
      }) as FileSystem['open'],
    };
    return { fileSystem, calls };
  }

  // One change: two new files (the version and the file), each opened, written and synced, each
  // renamed, and the folder synced after each rename.
  const ONE = ['open wx', 'writeFile', 'sync', 'rename', 'open r', 'sync'];

  test('steps of a change: each file is on the disk before it gets its name', async () => {
    const { fileSystem, calls } = failing('', 0);
    await (await open(fileSystem)).change([{ path: OPEN, value: 28 }]);
    expect(calls).toEqual([...ONE, ...ONE]);
  });

  // The second rename is call 10: up to it the old file is in place, after it the new one.
  test.each(Array.from({ length: 10 }, (_, i) => i + 1))(
    'at step %i leaves the file as it was',
    async (at) => {
      const propFile = await open(failing('ENOSPC', at).fileSystem);
      const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
      expect(error.kind).toBe('internal');
      expect(error.message).toMatch(/\(ENOSPC\): it is as it was before; free some disk space/);
      expect(await onDisk()).toBe(OWL);
      // No scraps, and what versions there are are whole.
      const names = (await fs.readdir(folder)).filter((name) => name !== 'owl.yaml');
      for (const name of names) {
        expect(name).toBe('owl.yaml.~1~');
        expect(await fs.readFile(join(folder, name), 'utf8')).toBe(OWL);
      }
      expect((propFile.prop.channels.beak as ServoChannel).marks?.open).toBe(30);
      // With room again it goes on.
      await propFile.change([{ path: OPEN, value: 27 }]);
      expect(await onDisk()).toContain('open: 27 }');
    },
  );

  test.each([11, 12])('at step %i says that the new file is in place', async (at) => {
    const propFile = await open(failing('EIO', at).fileSystem);
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.message).toMatch(
      /\(EIO\): it was written, but may not outlast a power cut; check/,
    );
    expect(await onDisk()).toContain('open: 28 }');
    expect((propFile.prop.channels.beak as ServoChannel).marks?.open).toBe(28);
    await propFile.change([{ path: OPEN, value: 27 }]);
    expect(await onDisk()).toContain('open: 27 }');
  });

  test.each(['EACCES', 'EROFS'])('for lack of permission (%s)', async (code) => {
    const propFile = await open(failing(code, 1).fileSystem);
    const error = await refusal(propFile.change([{ path: OPEN, value: 28 }]));
    expect(error.message).toMatch(/let the daemon's user read and write in/);
  });

  test('scraps of a power cut are no hindrance', async () => {
    await fs.writeFile(join(folder, '.owl.yaml.new'), 'half a fi');
    await (await open()).change([{ path: OPEN, value: 28 }]);
    expect((await fs.readdir(folder)).sort()).toEqual(['owl.yaml', 'owl.yaml.~1~']);
  });
});

describe('undo', () => {
  test('puts back what was replaced, to the byte, change after change', async () => {
    const propFile = await open();
    await propFile.change([{ path: OPEN, value: 28 }]);
    await propFile.change([{ path: ['channels', 'beak', 'marks', 'half'], value: 15 }]);
    const one = await propFile.undo();
    expect(one.undone).toBe('channels.beak.marks.half is gone again');
    const two = await propFile.undo();
    expect(two.undone).toBe('channels.beak.marks.open is 30 again, no longer 28');
    expect((two.prop.channels.beak as ServoChannel).marks).toEqual({ shut: 0, open: 30 });
    expect(await onDisk()).toBe(OWL);
    const error = await refusal(propFile.undo());
    expect(error.kind).toBe('condition');
    expect(error.message).toMatch(/nothing to undo/);
    // What was undone can be done again.
    await propFile.change([{ path: OPEN, value: 28 }]);
    expect(await onDisk()).toContain('open: 28 }');
  });

  test('keeps what was changed by hand since', async () => {
    const propFile = await open();
    await propFile.change([
      { path: OPEN, value: 28 },
      { path: LIMITS, value: [-4, 34] },
    ]);
    await byHand('Foyer owl', 'Night owl');
    const { undone } = await propFile.undo();
    expect(undone).toMatch(/limitsDeg is \[-5, 35\] again, no longer \[-4, 34\]/);
    expect(await onDisk()).toBe(OWL.replace('Foyer owl', 'Night owl'));
  });

  test('leaves nothing of a map that was added', async () => {
    await byHand(
      '    marks: { folded: 2, spread: 80 }\n    park: { to: folded,',
      '    park: { to: 2,',
    );
    const text = await onDisk();
    const propFile = await open();
    const at = ['channels', 'wing_left', 'marks'];
    await propFile.change([
      { path: [...at, 'up'], value: 70 },
      { path: [...at, 'down'], value: 5 },
    ]);
    await byHand('Foyer owl', 'Night owl');
    expect((await propFile.undo()).undone).toBe('channels.wing_left.marks is gone again');
    expect(await onDisk()).toBe(text.replace('Foyer owl', 'Night owl'));
  });

  test('is refused when the value was changed by hand since', async () => {
    const propFile = await open();
    await propFile.change([{ path: OPEN, value: 28 }]);
    await byHand('open: 28 }', 'open: 27 }');
    const error = await refusal(propFile.undo());
    expect(error.kind).toBe('condition');
    expect(error.message).toMatch(/marks\.open was changed by hand from 28 to 27/);
    expect(await onDisk()).toContain('open: 27 }');
  });

  test('is refused when something rests upon the value by now', async () => {
    const propFile = await open();
    await propFile.change([{ path: ['channels', 'beak', 'marks', 'half'], value: 15 }]);
    await byHand('beak: shut }', 'beak: half }');
    const error = await refusal(propFile.undo());
    expect(error.kind).toBe('outOfLimits');
    expect(error.message).toMatch(/no mark "half"/);
  });
});

test('a file with errors is opened, and refused when it is used', async () => {
  await fs.writeFile(file, 'sinew: 2\n');
  const { propFile, loaded } = await PropFile.open(file);
  expect(loaded.prop).toBeUndefined();
  expect(() => propFile.prop).toThrow(/has errors; run sinew check/);
  expect((await refusal(propFile.change([{ path: ['name'], value: 'x' }]))).kind).toBe('condition');
});
