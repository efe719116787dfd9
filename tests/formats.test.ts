import { spawnSync } from 'node:child_process';
import { copyFile, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unpack } from '../src/backup/archive.ts';
import { restore } from '../src/backup/restore.ts';
import { makeSafe } from '../src/boards/safe.ts';
import { CompiledForm } from '../src/prop/file/compiled.ts';
import { History } from '../src/prop/file/history.ts';
import { fileId } from '../src/prop/file/version.ts';
import { parseProp } from '../src/prop/load.ts';
import { parseTake } from '../src/prop/take/take-text.ts';
import type { SafePlan } from '../src/safe/plan.ts';
import { FileStore } from '../src/service/state-file.ts';
import { Rig } from './core/rig.ts';

/**
 * What every earlier release has written is still read, and what a later one writes is refused with the
 * remedy. The states, the takes and the prop file in tests/formats were written by the releases of their
 * time; nobody edits them. A format that changes gets another example beside the old ones.
 */

const kept = (name: string) => fileURLToPath(new URL(`formats/${name}`, import.meta.url));

let folder: string;
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'formats-'));
});
afterEach(() => rm(folder, { recursive: true, force: true }));

const restored = async () => (await FileStore.open(folder, () => {})).restored;

async function restoredFrom(name: string) {
  await copyFile(kept(name), join(folder, 'state.json'));
  return restored();
}

const PROP = `sinew: 1
name: Old owl
boards: { head: { driver: sim } }
rails: { servo6v: { volts: 6, limitA: 3 } }
channels:
  beak:
    kind: servo
    output: { board: head, pin: 18 }
    rail: servo6v
    calibration: [[1000, -45], [2000, 45]]
    limitsDeg: [-5, 35]
    speedDegS: 120
    accelDegS2: 600
    draw: { idleA: 0.01, movingA: 0.25, stallA: 0.9 }
    park: { to: 0 }
  mist:
    kind: relay
    output: { board: head, pin: 7 }
    duty: { maxOnS: 20, restS: 40 }
`;

/** A core that begins with this state: what its journal says, and what a wake answers. */
async function begun(state: Awaited<ReturnType<typeof restored>>) {
  const rig = await Rig.open(parseProp(PROP, 'owl.yaml').prop!, { restored: state });
  const client = rig.client('desk');
  await client.call('lease.take');
  const word = await client.call('wake', {}).then(
    () => 'awake',
    (error) => error.word as string,
  );
  const said = rig.entries.map(({ text }) => text).join('\n');
  return { rig, client, word, said };
}

test('the state of every earlier release is read, with a note of what it does not say', async () => {
  const unknown = 'wake.unknown-servos';
  const STATES: [name: string, lacks: RegExp[], word: string][] = [
    ['state-1-1-no-pins.json', [/none is trusted/, /pins.*rest first/, /unattended/], unknown],
    ['state-1-2-pins.json', [/none is trusted/, /unattended/], unknown],
    ['state-1-3-digests.json', [/unattended/], unknown],
    ['state-1-4-lockout.json', [/unattended/], 'lockout.set'],
    ['state-1-5-stop.json', [], 'condition.forbids'],
    ['state-1-6-relays.json', [], 'condition.forbids'],
    ['state-1-7-angles.json', [], 'condition.forbids'],
    ['state-1-8-drops.json', [], 'condition.forbids'],
  ];
  for (const [name, lacks, answer] of STATES) {
    const state = await restoredFrom(name);
    expect(state, name).toMatchObject({ positions: { beak: 12.5 }, sameBoot: false });
    if (typeof state === 'string') throw new Error(state);
    expect(state.lacks ?? [], name).toHaveLength(lacks.length);
    const { said, word } = await begun(state);
    for (const one of lacks) expect(said, name).toMatch(one);
    expect(said.includes('from an earlier release and was taken over'), name).toBe(
      lacks.length > 0,
    );
    // None of these digests is that of the beak in this file, so its position is never trusted.
    expect(word, name).toBe(answer);
    if (name.includes('no-pins')) expect(said).toContain('rest first: mist (40 s)');
  }
});

test('a newer state: positions unknown, guards at rest, and locked until a person has looked', async () => {
  const text = await readFile(kept('state-1-6-relays.json'), 'utf8');
  for (const newer of [
    text.replace('"version":1', '"version":2'),
    text.replace('"version":1', '"version":2,"zones":[{"locked":true}]'),
    '{"version":7}',
  ]) {
    await writeFile(join(folder, 'state.json'), newer);
    const state = await restored();
    expect(state).toBe('newer');
    const { rig, client, word, said } = await begun(state);
    expect(said).toContain('written by a newer Sinew');
    expect(said).toContain('rest first: mist (40 s)');
    expect(word).toBe('lockout.set');
    expect((await client.refused('wake', {})).message).toContain('written by a newer Sinew');
    expect((await client.refused('lockout.clear', {})).word).toBe('lockout.set');
    await client.call('lockout.clear', { force: true, reason: 'nobody in reach' });
    expect((await client.refused('wake', {})).word).toBe('wake.unknown-servos');
    expect(rig.core.condition).toBe('parked');
  }
});

test('a member that no release has written makes a state damaged, not newer', async () => {
  const text = await readFile(kept('state-1-6-relays.json'), 'utf8');
  for (const odd of [
    text.replace('"lockout"', '"lockoux"'),
    text.replace('"version":1', '"version":"2"'),
    text.replace('"version":1', '"version":1.5'),
    text.replace('"version":1,', ''),
    text.slice(0, -1),
    'null',
    '',
  ]) {
    await writeFile(join(folder, 'state.json'), odd);
    expect(await restored(), odd).toBe('damaged');
  }
});

test('the first prop file is still read: all that is wrong with it is what a later check has found', async () => {
  const { findings } = parseProp(await readFile(kept('prop-1-first.yaml'), 'utf8'), 'owl.yaml');
  const errors = findings.filter(({ severity }) => severity === 'error');
  expect(errors.map(({ path }) => path)).toEqual(['channels.lantern.output.pin']);
});

test('a newer prop file is refused with the remedy', () => {
  const [first] = parseProp(PROP.replace('sinew: 1', 'sinew: 2'), 'owl.yaml').findings;
  expect(`${first!.wrong}; ${first!.right}`).toBe(
    '2 is a later version of this file format than this Sinew knows, which is 1; install a later Sinew',
  );
  const [odd] = parseProp(PROP.replace('sinew: 1', 'sinew: one'), 'owl.yaml').findings;
  expect(odd!.right).toBe('write sinew: 1');
});

test('the first takes are read, and a newer one is refused with the remedy', async () => {
  const text = await readFile(kept('take-1.take'), 'utf8');
  const { take } = parseTake(text, 'take-1.take');
  expect(take!.servos).toEqual([{ name: 'beak', timesS: [0, 0.42, 1], deg: [0, 17.5, 0] }]);
  const [finding] = parseTake(text.replace('take 1', 'take 2'), 'x.take').findings;
  expect(finding!.right).toContain('use a later Sinew');
});

test('a history of before it had a version is read, and written with one', async () => {
  const path = join(folder, `history-${fileId('owl.yaml')}.json`);
  await copyFile(kept('history-list.json'), path);
  const history = new History('owl.yaml', folder);
  await history.read();
  expect(history.find('0123456789abcdef')!.what).toBe('mark open of beak');
  await history.add({ version: 'fedcba', time: '2026-01-02T00:00:00.000Z', who: 'a', what: 'b' });
  expect(JSON.parse(await readFile(path, 'utf8')).version).toBe(1);
  const again = new History('owl.yaml', folder);
  await again.read();
  expect(again.find('0123456789abcdef')!.who).toBe('desk');
  expect(again.find('fedcba')!.what).toBe('b');
  // Nothing that matters depends on it: of a newer one nothing is read.
  await writeFile(path, '{"version":2,"entries":[]}');
  const newer = new History('owl.yaml', folder);
  await newer.read();
  expect(newer.find('fedcba')).toBeUndefined();
});

test('a compiled form of another release, or of another version, is not used', async () => {
  const form = { raw: {}, prop: {} as never, findings: [], view: 1 };
  const old = join(folder, 'old.js');
  await writeFile(old, 'one');
  const before = new CompiledForm('owl.yaml', folder, old);
  await before.keep('text', form);
  expect(await before.read('text')).toEqual(form);
  const sealed = await readFile(before.path, 'utf8');
  await writeFile(before.path, sealed.replace('sinew-compiled 1', 'sinew-compiled 2'));
  expect(await before.read('text')).toBeUndefined();
  await writeFile(before.path, sealed);
  const other = join(folder, 'new.js');
  await writeFile(other, 'two');
  expect(await new CompiledForm('owl.yaml', folder, other).read('text')).toBeUndefined();
});

test('the first plan of safe levels is still carried out', async () => {
  const plan: SafePlan = JSON.parse(await readFile(kept('safe-plan-1-first.json'), 'utf8'));
  const log = join(folder, 'log');
  const run = async () => '';
  const [report] = await makeSafe(plan, { sysfs: folder, log, run } as never);
  expect(report!.failure).toBeUndefined();
  expect(report!.done.join()).toMatch(/beak.*mist.*lantern/);
});

test('a newer plan of safe levels, or one with a driver that is not known here, fails aloud', async () => {
  const text = await readFile(kept('safe-plan-1-first.json'), 'utf8');
  const plan = join(folder, 'plan.json');
  const program = fileURLToPath(new URL('../src/safe-levels.ts', import.meta.url));
  const run = (content: string) =>
    writeFile(plan, content).then(() =>
      spawnSync(process.execPath, ['--import', 'tsx', program, '--plan', plan], {
        encoding: 'utf8',
      }),
    );
  const newer = await run(text.replace('"version":1', '"version":2'));
  expect(newer.status).toBe(1);
  expect(newer.stderr).toContain('NOTHING was made safe; cut the power of the actuators');
  const driver = await run(text.replace('"driver":"sim"', '"driver":"later"'));
  expect(driver.status).toBe(1);
  expect(driver.stderr).toContain('may NOT be safe: driver later is not known here');
});

test('the first backups are restored', async () => {
  const archive = await readFile(kept('backup-1.zip'));
  expect(unpack(archive).about.prop).toBe('Old owl');
  const file = join(folder, 'home', 'owl.yaml');
  const stateDir = join(folder, 'state');
  await restore(archive, { file, stateDir, replace: false }, {});
  const { prop } = parseProp(await readFile(file, 'utf8'), file);
  expect(prop!.performed!.wave).toHaveProperty('take');
  const { restored: state } = await FileStore.open(stateDir, () => {});
  expect(state).toMatchObject({ positions: {}, clean: false, lockout: [{ by: 'desk' }] });
});
