import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import type { FileSystem } from '../../../src/prop/file/prop-disk.ts';
import { versionOf } from '../../../src/prop/file/version.ts';
import type { ServoChannel } from '../../../src/prop/schema.ts';
import { OWLET as OWL } from '../owlet.ts';
import { ME, Rig, type RigOptions, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
  const { status } = rig.opened;
  expect(status).toMatchObject({ changed: [], pending: false });
  expect(status.findings.filter(({ severity }) => severity === 'error')).toEqual([]);
};

const OPEN = ['channels', 'beak', 'marks', 'open'];
const HALF = ['channels', 'beak', 'marks', 'half'];
const LIMITS = ['channels', 'beak', 'limitsDeg'];
const beakMarks = async () => parse(await rig.read()).channels.beak.marks;

describe('a capture', () => {
  test('touches its value and nothing else, and goes to the core', async () => {
    await open();
    const { version } = await rig.capture(OPEN, 28.5);
    const text = OWL.replace('marks: { shut: 0, open: 30 } #', 'marks: { shut: 0, open: 28.5 } #');
    expect(await rig.read()).toBe(text);
    expect(version).toBe(versionOf(text));
    expect(rig.core.version).toBe(version);
    expect(rig.status).toMatchObject({ version, onDisk: version, pending: false, changed: [] });
    const [{ begin, channels, cues }] = rig.core.changes as [(typeof rig.core.changes)[0]];
    expect(begin).toMatchObject({ whenParked: false, rest: {} });
    expect((channels.get('beak') as ServoChannel).marks).toEqual({ shut: 0, open: 28.5 });
    expect([...channels.keys()]).toEqual(['beak']);
    const view = JSON.parse(Buffer.from(begin.view).toString());
    expect(view.info.beak.marks).toEqual({ shut: 0, open: 28.5 });
    // A cue that goes to the mark may take another time now.
    for (const { durationS, name } of cues.values())
      expect(view.cueDurationsS[name]).toBe(durationS);
  });

  test('comes out the same among trials, which leave nothing behind', async () => {
    await open({ warmUp: true });
    await rig.pass(30_000);
    expect(await rig.read()).toBe(OWL);
    expect(rig.core.changes).toEqual([]);
    expect(rig.logged).toEqual([]);
    expect(rig.reported).toEqual([]);
    expect((await refusal(rig.undo())).error.data.code).toBe('capture.nothing');
    await rig.capture(OPEN, 28.5);
    const warm = rig.core.changes[0]!;
    await rig.remove();
    await open();
    await rig.capture(OPEN, 28.5);
    const [cold] = rig.core.changes;
    expect(Buffer.from(warm.begin.view).toString()).toBe(Buffer.from(cold!.begin.view).toString());
    expect({ ...warm, begin: { ...warm.begin, id: 0, view: 0 } }).toEqual({
      ...cold,
      begin: { ...cold!.begin, id: 0, view: 0 },
    });
  });

  test('of limits takes effect at once, which a change of them by hand would not', async () => {
    await open();
    await rig.capture(LIMITS, [-6, 36]);
    expect(await rig.read()).toBe(OWL.replace('limitsDeg: [-5, 35] #', 'limitsDeg: [-6, 36] #'));
    expect(rig.core.changes[0]!.begin.whenParked).toBe(false);
    expect((rig.core.changes[0]!.channels.get('beak') as ServoChannel).limitsDeg).toEqual([-6, 36]);
  });

  test('adds a mark, and a map of marks where there was none', async () => {
    const text = OWL.replace(
      '    marks: { folded: 2, spread: 80 }\n    park: { to: folded,',
      '    park: { to: 2,',
    );
    await open({ text });
    await rig.capture(HALF, 15);
    await rig.capture(['channels', 'wing_left', 'marks', 'up'], 70);
    const lines = (await rig.read()).split('\n');
    expect(lines.filter((line) => !text.split('\n').includes(line))).toEqual([
      '    marks: { shut: 0, open: 30, half: 15 } # captured by jogging',
      '    marks: { up: 70 }',
    ]);
  });

  test('that makes the file wrong is refused, and nothing is written', async () => {
    await open();
    const { error } = await refusal(rig.capture(OPEN, 36));
    expect(error.code).toBe(-32002);
    expect(error.data.reason).toMatch(
      /owl\.yaml:\d+:\d+: channels\.beak\.marks\.open: 36 deg is outside/,
    );
    expect(await rig.read()).toBe(OWL);
    expect(await rig.files()).toEqual(['owl.yaml']);
    expect(rig.core.changes).toEqual([]);
  });

  test('of what is there already writes nothing', async () => {
    await open();
    expect(await rig.capture(OPEN, 30)).toEqual({ version: rig.opened.version });
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test('many at once come one after the other, none lost', async () => {
    await open();
    const names = Array.from({ length: 12 }, (_, i) => `m${i}`);
    await Promise.all(names.map((name, i) => rig.capture(['channels', 'beak', 'marks', name], i)));
    expect(Object.keys(await beakMarks())).toEqual(['shut', 'open', ...names]);
  });

  test('leaves what can wait to a moment in which nobody waits for it', async () => {
    let times = 0;
    await open({ idle: () => times++ });
    await rig.pass(1000);
    const before = times;
    for (const angle of [11, 12, 13]) {
      await rig.capture(HALF, angle);
      await rig.pass(100);
    }
    expect(times).toBe(before);
    await rig.pass(150);
    expect(times).toBe(before + 1);
    await rig.pass(5000);
    expect(times).toBe(before + 1);
  });

  test('works after such a moment that went wrong, which the log says', async () => {
    const idle = () => {
      throw new Error('no luck');
    };
    await open({ idle });
    await rig.pass(1000);
    await rig.capture(HALF, 11);
    expect((await beakMarks()).half).toBe(11);
    expect(rig.logged.join('\n')).toMatch(/what can wait was not done.*no luck/);
  });

  test('after a refused one works', async () => {
    await open();
    const bad = refusal(rig.capture(OPEN, 99));
    const good = rig.capture(OPEN, 29);
    await bad;
    await good;
    expect(await rig.read()).toContain('open: 29 }');
  });

  test('goes through a symbolic link and keeps the mode', async () => {
    await open();
    await rig.close();
    await fs.mkdir(join(rig.folder, 'real'));
    const real = join(rig.folder, 'real', 'prop.yaml');
    await fs.rename(rig.file, real);
    await fs.chmod(real, 0o666);
    await fs.symlink(real, rig.file);
    rig = await Rig.open({ folder: rig.folder });
    await rig.capture(OPEN, 28);
    expect((await fs.lstat(rig.file)).isSymbolicLink()).toBe(true);
    expect((await fs.stat(real)).mode & 0o777).toBe(0o666);
    expect(await fs.readFile(real, 'utf8')).toContain('open: 28 }');
    expect((await fs.readdir(join(rig.folder, 'real'))).sort()).toEqual([
      'prop.yaml',
      'prop.yaml.~1~',
    ]);
  });

  test('of a session that is gone before its turn is refused; one under way is told', async () => {
    await open();
    rig.core.held = true;
    const first = rig.capture(OPEN, 28, { session: 'a', client: 'phone', what: 'mark open' });
    const second = refusal(rig.capture(HALF, 12, { session: 'a' }));
    const other = rig.capture(HALF, 13, { session: 'b' });
    while (!rig.core.isHeld) await rig.turn();
    rig.service.receive({ t: 'gone', session: 'a' });
    rig.core.held = false;
    rig.core.end();
    await first;
    expect((await second).message).toMatch(/gone before its turn: nothing was written/);
    await other;
    expect(await beakMarks()).toEqual({ shut: 0, open: 28, half: 13 });
    expect(rig.reported).toContain(
      'mark open was written to the prop file, although phone was gone before the answer',
    );
  });

  test('that the boards cannot do leaves the file as it was, to the byte', async () => {
    await open();
    rig.core.refuses = () => 'pin 5 is taken';
    const { message } = await refusal(rig.capture(OPEN, 28));
    expect(message).toMatch(/boards cannot do this: pin 5 is taken; the file is as it was before/);
    expect(await rig.read()).toBe(OWL);
    expect(await rig.files()).toEqual(['owl.yaml']);
    expect(rig.status.version).toBe(rig.opened.version);
    rig.core.refuses = () => undefined;
    await rig.capture(OPEN, 28);
  });
});

describe('a file changed by hand meanwhile', () => {
  test('is taken over first, comments and all, and the edit goes on top', async () => {
    await open();
    await rig.byHand('name: Foyer owl', 'name: Old owl # really');
    await rig.capture(OPEN, 28);
    expect(await rig.read()).toBe(
      OWL.replace('name: Foyer owl', 'name: Old owl # really').replace(
        'shut: 0, open: 30 } # c',
        'shut: 0, open: 28 } # c',
      ),
    );
    expect(rig.core.changes.map(({ begin }) => begin.changed)).toEqual([
      ['name: "Foyer owl" becomes "Old owl"'],
      ['marks.open of beak: 30 becomes 28'],
    ]);
  });

  test('where it waits until the prop is parked: the edit is made to both', async () => {
    await open();
    await rig.byHand('speedDegS: 120\n', 'speedDegS: 110 # quieter\n');
    const { version } = await rig.capture(['channels', 'lid_left', 'marks', 'half'], 20);
    const now = rig.core.changes.at(-1)!;
    expect(now.begin.changed).toEqual(['marks.half of lid_left: 20 is added']);
    expect(rig.core.waiting!.begin).toMatchObject({ version, base: now.begin.version });
    expect(rig.status).toMatchObject({
      pending: true,
      onDisk: version,
      version: now.begin.version,
      changed: ['speedDegS of beak: 120 becomes 110'],
    });
    rig.core.park();
    await rig.flush();
    expect(rig.status).toMatchObject({ pending: false, onDisk: version, version, changed: [] });
    const text = await rig.read();
    expect(text).toContain('speedDegS: 110 # quieter');
    expect(parse(text).channels.lid_left.marks.half).toBe(20);
  });

  test('that becomes parked in that very moment: the edit is worked out again', async () => {
    await open();
    await rig.byHand('speedDegS: 120\n', 'speedDegS: 110\n');
    await rig.pass(1500);
    expect(rig.status.pending).toBe(true);
    // The core adopts what waits, and then sees a change that was made for the version before.
    const { take } = rig.core;
    let once = true;
    rig.core.take = (message) => {
      if (message.t === 'begin' && once) {
        once = false;
        rig.core.park();
      }
      take.call(rig.core, message);
    };
    const { version } = await rig.capture(['channels', 'lid_left', 'marks', 'half'], 20);
    await rig.flush();
    expect(rig.core.version).toBe(version);
    expect(rig.status).toMatchObject({ version, onDisk: version, pending: false });
    expect(rig.core.waiting).toBeUndefined();
  });

  test('so that the angle would mean something else is refused: park first', async () => {
    await open();
    await rig.byHand('[[1000, -45], [1500, 0]', '[[1000, -45], [1520, 0]');
    const text = await rig.read();
    for (let i = 0; i < 2; i++) {
      const { error } = await refusal(rig.capture(OPEN, 28));
      expect(error.code).toBe(-32003);
      expect(error.data.reason).toMatch(
        /owl\.yaml:\d+:\d+: channels\.beak\.calibration was changed in the file.*Park first/,
      );
      expect(await rig.read()).toBe(text);
    }
    // Other servos are not concerned.
    await rig.capture(['channels', 'lid_left', 'marks', 'half'], 20);
    await refusal(rig.capture(OPEN, 28));
    rig.core.park();
    await rig.flush();
    await rig.capture(OPEN, 28);
    expect(await rig.read()).toContain('[1520, 0]');
  });

  test('so that limits wait: capturing limits would overwrite them, and is refused', async () => {
    await open();
    await rig.byHand('limitsDeg: [-5, 35] #', 'limitsDeg: [-4, 35] #');
    const { message } = await refusal(rig.capture(LIMITS, [-5, 33]));
    expect(message).toMatch(
      /channels\.beak\.limitsDeg was changed in the file from \[-5, 35\] to \[-4, 35\]/,
    );
    expect(await rig.read()).toContain('limitsDeg: [-4, 35] #');
  });

  test('so that the channel is gone is refused', async () => {
    await open();
    await rig.byHand('\n  fan:\n', '\n  fan_2:\n');
    await rig.byHand('[mist, fan]', '[mist, fan_2]');
    const { message } = await refusal(rig.capture(['channels', 'fan', 'wire', 'lengthM'], 2));
    expect(message).toMatch(/channels?[ .]fan/);
    expect(await rig.read()).toContain('fan_2');
  });

  test('into one with errors is refused with the first', async () => {
    await open();
    await rig.byHand('speedDegS: 120', 'speedDegS: fast');
    const text = await rig.read();
    const { error } = await refusal(rig.capture(OPEN, 28));
    expect(error.code).toBe(-32003);
    expect(error.data.reason).toMatch(
      /owl\.yaml:\d+:\d+: channels\.beak\.speedDegS: "fast" is not/,
    );
    expect(await rig.read()).toBe(text);
    await rig.byHand('speedDegS: fast', 'speedDegS: 120');
    await rig.capture(OPEN, 28);
    expect(await rig.read()).toContain('open: 28 }');
  });

  test('or emptied, or removed, is refused, and nothing else is written', async () => {
    await open();
    await fs.writeFile(rig.file, '');
    expect((await refusal(rig.capture(OPEN, 28))).message).toMatch(/the file is empty/);
    await fs.rm(rig.file);
    expect((await refusal(rig.capture(OPEN, 28))).message).toMatch(/is gone.*put the file back/);
    expect(await rig.files()).toEqual([]);
    expect(rig.core.changes).toEqual([]);
  });

  test('in the very moment of writing is merged, too', async () => {
    let edits = 0;
    await open({
      fileSystem: {
        ...fs,
        link: async (from, to) => {
          await fs.link(from, to);
          // After the version is kept, before the file is replaced; as an editor does that renames.
          if (edits++ > 0) return;
          const text = (await rig.read()).replace('Foyer owl', 'Night owl');
          await fs.writeFile(`${rig.file}.edited`, text);
          await fs.rename(`${rig.file}.edited`, rig.file);
        },
      },
    });
    await rig.capture(OPEN, 28);
    const text = await rig.read();
    expect(text).toContain('name: Night owl');
    expect(text).toContain('open: 28 }');
    expect(await rig.files()).toEqual(['owl.yaml', 'owl.yaml.~1~']);
    expect(await fs.readFile(`${rig.file}.~1~`, 'utf8')).toBe(
      OWL.replace('Foyer owl', 'Night owl'),
    );
  });

  test('again and again is given up', async () => {
    let edits = 0;
    await open({
      fileSystem: {
        ...fs,
        link: async (from, to) => {
          await fs.link(from, to);
          await fs.writeFile(rig.file, (await rig.read()).replace(/name: .*/, `name: n${edits++}`));
        },
      },
    });
    const { message } = await refusal(rig.capture(OPEN, 28));
    expect(message).toMatch(/keeps changing; try again/);
    expect((await beakMarks()).open).toBe(30);
    expect(await rig.files()).toEqual(['owl.yaml']);
  });
});

describe('versions', () => {
  test('are kept beside the file, the last ten, with who made them', async () => {
    await open();
    // What only looks like a version is left alone.
    await fs.writeFile(join(rig.folder, 'owl.yaml.~x~'), 'mine');
    for (let i = 0; i < 13; i++) {
      await rig.capture(OPEN, 10 + i);
      await rig.flush();
    }
    const kept = Array.from({ length: 10 }, (_, i) => `owl.yaml.~${i + 4}~`);
    expect(await rig.files()).toEqual(['owl.yaml', 'owl.yaml.~x~', ...kept].sort());
    // Each is what its change replaced: the first replaced the demo's 30, the 13th replaced 21.
    for (const [i, name] of kept.entries())
      expect(
        parse(await fs.readFile(join(rig.folder, name), 'utf8')).channels.beak.marks.open,
      ).toBe(10 + i + 2);
    const { versions } = (await rig.question('prop.history')) as {
      versions: { version: string; who: string; what: string; time: string; current?: true }[];
    };
    expect(versions).toHaveLength(11);
    expect(versions[0]).toMatchObject({
      version: rig.status.version,
      current: true,
      who: 'laptop',
      what: 'capture of open',
    });
    expect(versions.filter(({ current }) => current)).toHaveLength(1);
    for (const { who, time } of versions) {
      expect(who).toBe('laptop');
      expect(new Date(time).toISOString()).toBe(time);
    }
  });

  test('start with the file as it was, across restarts', async () => {
    await open();
    await rig.capture(OPEN, 20);
    expect(await fs.readFile(`${rig.file}.~1~`, 'utf8')).toBe(OWL);
    await rig.close();
    rig = await Rig.open({ folder: rig.folder });
    await rig.capture(OPEN, 21);
    expect(await fs.readFile(`${rig.file}.~2~`, 'utf8')).toBe(
      OWL.replace('open: 30 } # c', 'open: 20 } # c'),
    );
    const history = (await rig.question('prop.history')) as { versions: { who: string }[] };
    expect(history.versions.map(({ who }) => who)).toEqual(['laptop', 'laptop', 'by hand']);
  });

  test.each(['EPERM', 'EXDEV', 'ENOTSUP', 'EMLINK', 'EACCES', 'ENOSYS'])(
    'are copies where no second name can be given (%s)',
    async (code) => {
      await open({
        fileSystem: { ...fs, link: () => Promise.reject(Object.assign(new Error(code), { code })) },
      });
      await rig.capture(OPEN, 28);
      expect(await fs.readFile(`${rig.file}.~1~`, 'utf8')).toBe(OWL);
      expect(await rig.files()).toEqual(['owl.yaml', 'owl.yaml.~1~']);
    },
  );
});

describe('a write that fails', () => {
  /** A file system in which the `at`th call that changes the prop's folder fails with `code`. */
  function failing(code: string, at: number): { fileSystem: FileSystem; calls: string[] } {
    const calls: string[] = [];
    const step = (name: string, path: unknown) => {
      // The state's folder is another matter, and work that nobody waits for.
      if (String(path).includes('state')) return;
      calls.push(name);
      if (calls.length === at) throw Object.assign(new Error(code), { code });
    };
    const fileSystem: FileSystem = {
      ...fs,
      link: async (from, to) => {
        step('link', from);
        return fs.link(from, to);
      },
      rename: async (from, to) => {
        step('rename', from);
        return fs.rename(from, to);
      },
      open: (async (path: string, flags: string, mode?: number) => {
        if (flags !== 'r') step(`open ${flags}`, path);
        const handle = await fs.open(path, flags, mode);
        return new Proxy(handle, {
          get(target, key) {
            const method = Reflect.get(target, key);
            if (typeof method !== 'function') return method;
            return async (...args: unknown[]) => {
              if (['writeFile', 'sync', 'chmod', 'chown'].includes(String(key))) {
                // A full disk takes a part of the data first.
                if (key === 'writeFile' && calls.length + 1 === at)
                  await target.writeFile(String(args[0]).slice(0, 100));
                step(String(key), path);
              }
              return method.apply(target, args);
            };
          },
        });
      }) as FileSystem['open'],
    };
    return { fileSystem, calls };
  }

  // Six operations; the names of both are on the disk when the folder is.
  test('steps of a capture: the file is on the disk before it gets its name', async () => {
    const { fileSystem, calls } = failing('', 0);
    await open({ fileSystem });
    calls.length = 0;
    await rig.capture(OPEN, 28);
    expect(calls.slice(0, 6)).toEqual(['link', 'open wx', 'writeFile', 'sync', 'rename', 'sync']);
  });

  test.each([1, 2, 3, 4, 5])('at step %i leaves the file as it was', async (at) => {
    await open({ fileSystem: failing('ENOSPC', at).fileSystem });
    const { error } = await refusal(rig.capture(OPEN, 28));
    expect(error.code).toBe(-32603);
    expect(error.data).toMatchObject({ code: 'file.not-saved', errno: 'ENOSPC' });
    expect(error.data.reason).toMatch(/\(ENOSPC\): it is as it was before; free some disk space/);
    expect(await rig.read()).toBe(OWL);
    expect(await rig.files()).toEqual(['owl.yaml']);
    expect(rig.core.changes).toEqual([]);
    // With room again it goes on.
    await rig.capture(OPEN, 27);
    expect(await rig.read()).toContain('open: 27 }');
  });

  test('at step 6 says that the new file is in place, and the core goes by it', async () => {
    await open({ fileSystem: failing('EIO', 6).fileSystem });
    const { message } = await refusal(rig.capture(OPEN, 28));
    expect(message).toMatch(/\(EIO\): it was written, but may not outlast a power cut; check/);
    expect(await rig.read()).toContain('open: 28 }');
    expect(rig.core.changes[0]!.begin.changed).toEqual(['marks.open of beak: 30 becomes 28']);
    await rig.capture(OPEN, 27);
    expect(await rig.read()).toContain('open: 27 }');
  });

  test.each(['EACCES', 'EROFS'])('for lack of permission (%s)', async (code) => {
    await open({ fileSystem: failing(code, code === 'EACCES' ? 2 : 1).fileSystem });
    const { message } = await refusal(rig.capture(OPEN, 28));
    expect(message).toMatch(/let the daemon's user read and write in/);
  });

  test('scraps of a power cut are no hindrance', async () => {
    await open();
    await fs.writeFile(join(rig.folder, '.owl.yaml.new'), 'half a fi');
    await rig.capture(OPEN, 28);
    expect(await rig.files()).toEqual(['owl.yaml', 'owl.yaml.~1~']);
  });
});

describe('undo', () => {
  test('puts back what was replaced, to the byte, change after change', async () => {
    await open();
    await rig.capture(OPEN, 28);
    await rig.capture(HALF, 15);
    expect((await rig.undo()).undone).toBe('channels.beak.marks.half is gone again');
    expect((await rig.undo()).undone).toBe('channels.beak.marks.open is 30 again, no longer 28');
    expect(await rig.read()).toBe(OWL);
    expect((rig.core.changes.at(-1)!.channels.get('beak') as ServoChannel).marks).toEqual({
      shut: 0,
      open: 30,
    });
    expect((await refusal(rig.undo())).message).toMatch(/nothing to undo/);
    // What was undone can be done again.
    await rig.capture(OPEN, 28);
    expect(await rig.read()).toContain('open: 28 }');
  });

  test('of limits takes effect at once', async () => {
    await open();
    await rig.capture(LIMITS, [-4, 34]);
    await rig.undo();
    expect(rig.core.changes.map(({ begin }) => begin.whenParked)).toEqual([false, false]);
  });

  test('keeps what was changed by hand since', async () => {
    await open();
    await rig.ask((n) => ({
      t: 'capture',
      n,
      edits: [
        { path: OPEN, value: 28 },
        { path: LIMITS, value: [-4, 34] },
      ],
      by: ME,
    }));
    await rig.byHand('Foyer owl', 'Night owl');
    const { undone } = await rig.undo();
    expect(undone).toMatch(/limitsDeg is \[-5, 35\] again, no longer \[-4, 34\]/);
    expect(await rig.read()).toBe(OWL.replace('Foyer owl', 'Night owl'));
  });

  test('leaves nothing of a map that was added', async () => {
    const text = OWL.replace(
      '    marks: { folded: 2, spread: 80 }\n    park: { to: folded,',
      '    park: { to: 2,',
    );
    await open({ text });
    const at = ['channels', 'wing_left', 'marks'];
    await rig.ask((n) => ({
      t: 'capture',
      n,
      edits: [
        { path: [...at, 'up'], value: 70 },
        { path: [...at, 'down'], value: 5 },
      ],
      by: ME,
    }));
    await rig.byHand('Foyer owl', 'Night owl');
    expect((await rig.undo()).undone).toBe('channels.wing_left.marks is gone again');
    expect(await rig.read()).toBe(text.replace('Foyer owl', 'Night owl'));
  });

  test('is refused when the value was changed by hand since', async () => {
    await open();
    await rig.capture(OPEN, 28);
    await rig.byHand('open: 28 }', 'open: 27 }');
    const { error } = await refusal(rig.undo());
    expect(error.code).toBe(-32003);
    expect(error.data.reason).toMatch(/marks\.open was changed since from 28 to 27/);
    expect(await rig.read()).toContain('open: 27 }');
  });

  test('is refused when something rests upon the value by now', async () => {
    await open();
    await rig.capture(HALF, 15);
    await rig.byHand('beak: shut }', 'beak: half }');
    const { error } = await refusal(rig.undo());
    expect(error.code).toBe(-32002);
    expect(error.data.reason).toMatch(/no mark "half"/);
  });
});

test('a place that an alias shares is not edited: the refusal names the line and the other user', async () => {
  const text = OWL.replace(
    'marks: { shut: 0, open: 30 } #',
    'marks: &same { shut: 0, open: 30 } #',
  ).replace('    marks: { shut: 0, open: 40 }\n', '    marks: *same\n');
  await open({ text });
  const { error } = await refusal(rig.capture(OPEN, 29));
  const line = (part: string) => text.split('\n').findIndex((one) => one.includes(part)) + 1;
  expect(error.data).toMatchObject({ line: line('&same') });
  expect(error.data.reason).toContain(`owl.yaml:${line('&same')}`);
  expect(error.data.reason).toMatch(
    new RegExp(`channels\\.lid_left\\.marks|line ${line('*same')}`),
  );
  expect(await rig.read()).toBe(text);
});
