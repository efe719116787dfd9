import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { versionOf } from '../../../src/prop/file/version.ts';
import { OWLET } from '../owlet.ts';
import { Rig, type RigOptions, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};
/** Long enough for two looks at the file. */
const NOTICED_MS = 1200;

describe('a file saved by hand', () => {
  test('takes effect at once where it may, and says what changed', async () => {
    await open();
    await rig.byHand('name: Foyer owl', 'name: Night owl');
    await rig.byHand('overS: 1.2', 'overS: 2');
    await rig.pass(NOTICED_MS);
    const changed = ['name: "Foyer owl" becomes "Night owl"', 'cue wake: changed'];
    const [{ begin, channels, cues }] = rig.core.changes as [(typeof rig.core.changes)[0]];
    expect(begin).toMatchObject({ whenParked: false, changed, rest: { name: 'Night owl' } });
    expect(Object.keys(begin.rest)).toEqual(['name']);
    expect([...channels.keys()]).toEqual([]);
    expect([...cues.keys()]).toEqual(['wake']);
    expect(rig.status).toMatchObject({ version: versionOf(await rig.read()), changed: [] });
    expect(rig.reported).toEqual([
      `the prop file was changed and is in use: ${changed.join('; ')}`,
    ]);
    expect(await rig.question('prop.history')).toMatchObject({
      versions: [{ who: 'by hand', current: true }],
    });
  });

  test('sends all cues when poses or groups change', async () => {
    await open();
    await rig.byHand('asleep: { lid_left: shut, beak: shut }', 'asleep: { lid_left: shut }');
    await rig.pass(NOTICED_MS);
    expect([...rig.core.changes[0]!.cues.keys()]).toEqual(['wake', 'drowse']);
  });

  test('sends cues that are gone as gone', async () => {
    await open();
    await rig.byHand('  drowse:\n    - { at: 0, pose: asleep }\n', '');
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes[0]!.cues.get('drowse')).toMatchObject({ cue: undefined });
  });

  test('waits for parked with what must, whole, and is then in use', async () => {
    await open();
    await rig.byHand('limitsDeg: [-5, 35]', 'limitsDeg: [-5, 34]');
    await rig.byHand('name: Foyer owl', 'name: Night owl');
    await rig.pass(NOTICED_MS);
    const version = versionOf(await rig.read());
    expect(rig.status).toMatchObject({
      version: versionOf(OWLET),
      onDisk: version,
      pending: true,
      changed: [
        'name: "Foyer owl" becomes "Night owl"',
        'limitsDeg of beak: [-5, 35] becomes [-5, 34]',
      ],
    });
    expect(rig.core.changes).toEqual([]);
    const waiting = rig.core.waiting!;
    expect([...waiting.channels.keys()]).toEqual(Object.keys(rig.opened.prop.channels));
    expect([...waiting.cues.keys()]).toEqual(['wake', 'drowse']);
    expect(Object.keys(waiting.begin.rest)).toEqual(
      expect.arrayContaining(['name', 'link', 'boards', 'rails', 'park', 'groups', 'poses']),
    );
    rig.core.park();
    await rig.flush();
    expect(rig.status).toMatchObject({ version, onDisk: version, pending: false, changed: [] });
    expect(rig.reported.at(-1)).toMatch(/prop is parked: the changed prop file is in use/);
  });

  test('put back before the prop is parked, nothing waits any more', async () => {
    await open();
    await rig.byHand('speedDegS: 120', 'speedDegS: 100');
    await rig.pass(NOTICED_MS);
    expect(rig.status.pending).toBe(true);
    await rig.byHand('speedDegS: 100', 'speedDegS: 120');
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({ pending: false, onDisk: versionOf(OWLET), changed: [] });
    expect(rig.core.waiting).toBeUndefined();
  });

  test('that the boards cannot do changes nothing, and says so', async () => {
    await open();
    rig.core.parked = true;
    rig.core.refuses = () => 'pin 5 is taken';
    await rig.byHand('speedDegS: 120', 'speedDegS: 100');
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({
      version: versionOf(OWLET),
      problem: expect.stringMatching(/boards cannot do .*pin 5 is taken.*fix the file/),
    });
    // Captures do not go into a file that the prop does not go by.
    expect((await refusal(rig.capture(['channels', 'beak', 'marks', 'open'], 29))).message).toMatch(
      /pin 5 is taken/,
    );
  });

  test('rejected when it is parked at last, it is told as well', async () => {
    await open();
    await rig.byHand('speedDegS: 120', 'speedDegS: 100');
    await rig.pass(NOTICED_MS);
    rig.core.refuses = () => 'pin 5 is taken';
    rig.core.park();
    await rig.flush();
    expect(rig.status).toMatchObject({ pending: false, problem: expect.stringMatching(/pin 5/) });
  });

  test('with only its comments changed is another version, with nothing changed', async () => {
    await open();
    await rig.byHand('# An owl for tests.', '# An owl.');
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes[0]!.begin).toMatchObject({ changed: [], rest: {}, whenParked: false });
    expect(rig.status.version).toBe(versionOf(await rig.read()));
  });

  test('counts only when two looks in a row agree', async () => {
    await open();
    // An editor that writes slowly: each look sees another part of a file that is sound in between.
    for (let i = 0; i < 8; i++) {
      await rig.byHand(/name: .*/.exec(await rig.read())![0], `name: Owl ${'x'.repeat(i + 1)}`);
      await rig.pass(500);
    }
    expect(rig.core.changes).toEqual([]);
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes).toHaveLength(1);
  });

  test('is noticed when it is replaced by a file of the same length and time', async () => {
    await open();
    const { atime, mtime } = await fs.stat(rig.file);
    await fs.writeFile(`${rig.file}.new`, OWLET.replace('Foyer owl', 'Night owl'));
    await fs.utimes(`${rig.file}.new`, atime, mtime);
    await fs.rename(`${rig.file}.new`, rig.file);
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes[0]!.begin.changed).toEqual(['name: "Foyer owl" becomes "Night owl"']);
  });
});

describe('a file that cannot be used', () => {
  test('half saved: nothing changes, its findings are shown, and the rest is taken over', async () => {
    await open();
    const whole = OWLET.replace('Foyer owl', 'Night owl');
    await fs.writeFile(rig.file, whole.slice(0, 700));
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes).toEqual([]);
    expect(rig.status.version).toBe(versionOf(OWLET));
    expect(rig.status.problem).toBeDefined();
    expect(rig.reported).toHaveLength(1);
    await fs.writeFile(rig.file, whole);
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({ version: versionOf(whole), onDisk: versionOf(whole) });
    expect(rig.status.problem).toBeUndefined();
  });

  test('half saved where what is there is sound: cut off', async () => {
    await open();
    await fs.writeFile(rig.file, OWLET.slice(0, OWLET.indexOf('park:\n  stages')));
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes).toEqual([]);
    expect(rig.status.problem).toMatch(/seems to be cut off.*\.\.\./);
    expect(rig.status.changed).toEqual([expect.stringMatching(/park/)]);
  });

  test('faulty: the findings are there, and the prop goes on', async () => {
    await open();
    await rig.byHand('speedDegS: 120', 'speedDegS: fast');
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({
      version: versionOf(OWLET),
      onDisk: versionOf(await rig.read()),
      pending: false,
      problem: expect.stringMatching(/has an error.*fast/),
      findings: expect.arrayContaining([
        expect.objectContaining({ path: 'channels.beak.speedDegS', severity: 'error' }),
      ]),
    });
    expect(rig.reported[0]).toMatch(/not used/);
    expect(await rig.question('prop.read')).toMatchObject({
      text: await rig.read(),
      version: versionOf(await rig.read()),
      path: 'owl.yaml',
      inUse: versionOf(OWLET),
      problem: expect.any(String),
      findings: expect.arrayContaining([
        expect.objectContaining({ level: 'error', path: 'channels.beak.speedDegS' }),
      ]),
    });
    await rig.byHand('speedDegS: fast', 'speedDegS: 120');
    await rig.pass(NOTICED_MS);
    expect(rig.status.problem).toBeUndefined();
  });

  test('faulty while another waits: what waited is withdrawn', async () => {
    await open();
    await rig.byHand('speedDegS: 120', 'speedDegS: 100');
    await rig.pass(NOTICED_MS);
    await rig.byHand('speedDegS: 100', 'speedDegS: fast');
    await rig.pass(NOTICED_MS);
    expect(rig.core.waiting).toBeUndefined();
    expect(rig.status.pending).toBe(false);
    rig.core.park();
    await rig.flush();
    expect(rig.status.version).toBe(versionOf(OWLET));
  });

  test('gone: the prop goes on, and is fine when it comes back', async () => {
    await open();
    await fs.rename(rig.file, join(rig.folder, 'elsewhere'));
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({
      version: versionOf(OWLET),
      onDisk: null,
      problem: expect.stringMatching(/is gone.*put the file back/),
    });
    expect(await rig.question('prop.read')).toMatchObject({ text: OWLET });
    await fs.rename(join(rig.folder, 'elsewhere'), rig.file);
    await rig.pass(NOTICED_MS);
    expect(rig.status).toMatchObject({ onDisk: versionOf(OWLET), findings: expect.any(Array) });
    expect(rig.status.problem).toBeUndefined();
  });

  test.each<[string, () => Promise<unknown>]>([
    ['10 MB', () => fs.writeFile(rig.file, Buffer.alloc(10 * 1024 * 1024, 35))],
    ['not UTF-8', () => fs.writeFile(rig.file, Buffer.from([0x61, 0xff, 0xfe]))],
    ['a folder', () => fs.rm(rig.file).then(() => fs.mkdir(rig.file))],
    ['nested deeply', () => fs.writeFile(rig.file, '['.repeat(100_000))],
  ])('%s: a clear problem, and the prop goes on', async (_what, spoil) => {
    await open();
    await spoil();
    await rig.pass(NOTICED_MS);
    expect(rig.core.changes).toEqual([]);
    expect(rig.status.version).toBe(versionOf(OWLET));
    expect(rig.status.problem).toBeDefined();
    expect(JSON.stringify(rig.status).length).toBeLessThan(5000);
  });
});
