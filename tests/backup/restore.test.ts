import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unpack } from '../../src/backup/archive.ts';
import { PropDisk } from '../../src/prop/file/prop-disk.ts';
import { fileId } from '../../src/prop/file/version.ts';
import { parseProp } from '../../src/prop/load.ts';
import { lifeOf } from '../../src/safe/life.ts';
import { FileStore, stateAfterRestore } from '../../src/service/state-file.ts';
import { run } from '../cli/fake-daemon.ts';
import { Rig, restedAt } from '../core/rig.ts';
import { wavOf } from '../sound/wav.ts';

let root: string;
/** No daemon is asked. */
const nobody = { host: '127.0.0.1:1' } as never;
const sinew = (...args: string[]) => run(args, nobody, { XDG_STATE_HOME: join(root, 'xdg') });
const exists = (path: string) => fs.stat(path).then(Boolean, () => false);

const PROP = (name: string) => `sinew: 1
name: ${name}
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
takes: { wave: wave.take }
sounds: { hoot: hoot.wav }
`;
const TAKE = 'sinew take 1\nservo beak\n0 0\n1 20\n2 0\n';
const LOCK = [{ by: 'anna', reason: 'new beak', time: '2026-01-01T00:00:00.000Z' }];

beforeEach(async () => {
  root = await fs.mkdtemp(join(tmpdir(), 'backup-'));
});
afterEach(() => fs.rm(root, { recursive: true, force: true }));

/** A prop in a folder, with what a daemon has kept of it in its state folder. */
async function made(folder: string, state: Record<string, unknown> = {}) {
  const home = join(root, folder);
  const stateDir = join(home, 'state');
  await fs.mkdir(stateDir, { recursive: true });
  const file = join(home, 'owl.yaml');
  await fs.writeFile(file, PROP('first'));
  await fs.writeFile(join(home, 'wave.take'), TAKE);
  await fs.writeFile(join(home, 'hoot.wav'), wavOf());
  const disk = new PropDisk(file);
  for (const [from, to] of [
    ['first', 'second'],
    ['second', 'third'],
  ] as const)
    await disk.replace(Buffer.from(PROP(from)), PROP(to));
  await fs.utimes(`${file}.~1~`, 1_700_000_000, 1_700_000_000);
  const store = await FileStore.open(stateDir, () => {});
  const known = restedAt(parseProp(PROP('third'), file).prop!);
  if (typeof known === 'string') throw new Error(known);
  const { sameBoot: _, ...saved } = known;
  store.save({ ...saved, lockout: LOCK, clean: true, ...state }, true);
  await store.flush();
  const id = fileId(await fs.realpath(file));
  await fs.writeFile(join(stateDir, `last-known-${id}.yaml`), PROP('third'));
  await fs.writeFile(join(stateDir, `history-${id}.json`), '[]\n');
  await fs.mkdir(join(stateDir, 'journal'));
  await fs.writeFile(join(stateDir, 'journal', '000003.log'), `of ${folder}`);
  await fs.mkdir(join(stateDir, 'incidents'));
  await fs.writeFile(join(stateDir, 'incidents', '000007.log'), 'before a stop');
  await fs.writeFile(join(stateDir, 'wear.json'), 'worn');
  for (const other of ['token', 'show-password', 'daemon.lock', 'safe-plan.json'])
    await fs.writeFile(join(stateDir, other), 'secret of this board');
  return { home, file, stateDir, archive: join(root, `${folder}.zip`) };
}

async function backedUp(folder: string, state: Record<string, unknown> = {}) {
  const from = await made(folder, state);
  const { code, out, err } = await sinew(
    ...['backup', from.file, '--state-dir', from.stateDir, '--out', from.archive],
  );
  expect(code, out + err).toBe(0);
  return { ...from, out };
}

test('a backup has the prop and what belongs to it, no secret, and no path of the machine', async () => {
  const { archive, out } = await backedUp('a');
  const { about, files } = unpack(await fs.readFile(archive));
  expect(about.prop).toBe('third');
  expect(files.map(({ name }) => name)).toEqual([
    ...['beside/hoot.wav', 'beside/wave.take', 'prop.yaml', 'state/history.json'],
    ...['state/incidents/000007.log', 'state/journal/000003.log', 'state/last-known.yaml'],
    ...['state/state.json', 'state/wear.json', 'versions/1.yaml', 'versions/2.yaml'],
  ]);
  for (const { name, bytes } of files) {
    expect(Buffer.from(bytes).includes(root), name).toBe(false);
    expect(Buffer.from(bytes).includes('secret of this board'), name).toBe(false);
  }
  expect(out).toContain('not in it: the token, the password of a broker');
  // The same prop elsewhere gives the same archive.
  const other = await backedUp('b');
  const [one, two] = await Promise.all([archive, other.archive].map((path) => fs.readFile(path)));
  expect(namesAndDigests(one!)).toEqual(namesAndDigests(two!));
});

/** Without the versions' times, which differ. */
const namesAndDigests = (archive: Buffer) =>
  unpack(archive)
    .files.filter(({ name }) => !name.includes('journal'))
    .map(({ name, bytes }) => [name, Buffer.from(bytes).toString('base64')]);

test('it is restored on another board in one command: the first wake asks, and guards rest first', async () => {
  const { archive } = await backedUp('a');
  const file = join(root, 'new', 'owl.yaml');
  const { code, out } = await sinew('restore', archive, file);
  expect(code, out).toBe(0);
  expect(out).toContain('the first wake asks for a confirmation');
  expect(await fs.readFile(file, 'utf8')).toBe(PROP('third'));
  expect(await fs.readFile(`${file}.~1~`, 'utf8')).toBe(PROP('first'));
  expect((await fs.stat(`${file}.~1~`)).mtimeMs).toBe(1_700_000_000_000);
  expect(await fs.readFile(join(root, 'new', 'wave.take'), 'utf8')).toBe(TAKE);
  expect((await fs.readFile(join(root, 'new', 'hoot.wav'))).equals(wavOf())).toBe(true);
  const [folder] = await fs.readdir(join(root, 'xdg', 'sinew'));
  const state = join(root, 'xdg', 'sinew', folder!);
  const id = fileId(await fs.realpath(file));
  expect(await exists(join(state, `last-known-${id}.yaml`))).toBe(true);

  expect(await fs.readFile(join(state, 'journal', '000003.log'), 'utf8')).toBe('of a');
  expect(await exists(join(state, 'incidents', '000007.log'))).toBe(true);
  expect(await fs.readFile(join(state, 'wear.json'), 'utf8')).toBe('worn');

  // No other user reads what the daemon keeps, whatever its folder allows; the rest is as the maker's own files.
  for (const name of await fs.readdir(state, { recursive: true })) {
    const found = await fs.stat(join(state, name));
    // The lock is this board's own.
    if (found.isFile() && name !== 'daemon.lock') expect(found.mode & 0o777, name).toBe(0o600);
  }
  expect((await fs.stat(join(root, 'new', 'wave.take'))).mode & 0o777).toBe(0o644);

  const { restored } = await FileStore.open(state, () => {});
  const rig = await Rig.open(parseProp(PROP('third'), file).prop!, { restored });
  const client = rig.client('desk');
  await client.call('lease.take');
  expect((await client.refused('wake', {})).word).toBe('lockout.set');
  await client.call('lockout.clear', { force: true, reason: 'nobody in reach' });
  const asked = await client.refused('wake', {});
  expect(asked.word).toBe('wake.unknown-servos');
  expect(asked.message).toContain('beak');
  expect(rig.entries.map(({ text }) => text).join()).toContain('rest first: mist (40 s)');
});

test('the state that was there would have been trusted on its own board', async () => {
  // The control: without a restore the same state needs no confirmation.
  const { stateDir, file } = await made('a', { lockout: undefined });
  const { restored } = await FileStore.open(stateDir, () => {});
  const rig = await Rig.open(parseProp(PROP('third'), file).prop!, { restored });
  const client = rig.client('desk');
  await client.call('lease.take');
  await client.call('wake', {});
});

test('nothing is overwritten without being told; with --replace the prop file stays as a version', async () => {
  const { archive } = await backedUp('a');
  const latched = { condition: 'stopped', stoppedBy: ['ben'] };
  const there = await made('b', { lockout: undefined, latched });
  await fs.writeFile(there.file, PROP('other'));
  const args = ['restore', archive, there.file, '--state-dir', there.stateDir];
  const before = await fs.readdir(there.home);
  const refused = await sinew(...args);
  expect(refused.code).toBe(1);
  expect(refused.err).toContain('nothing was restored: there is');
  expect(refused.err).toContain('--replace');
  expect(await fs.readdir(there.home)).toEqual(before);
  expect(await fs.readFile(there.file, 'utf8')).toBe(PROP('other'));

  const { code, out } = await sinew(...args, '--replace');
  expect(code, out).toBe(0);
  expect(await fs.readFile(there.file, 'utf8')).toBe(PROP('third'));
  const versions = await new PropDisk(there.file).versions();
  expect(versions[0]!.bytes.toString()).toBe(PROP('other'));
  expect(out).toContain(versions[0]!.path);
  // The board goes on with its own journal.
  expect(await fs.readFile(join(there.stateDir, 'journal', '000003.log'), 'utf8')).toBe('of b');
  expect(out).toContain('keeps its own journal');
  // A lock of either state holds, and so does the stop of the board itself.
  const { restored } = await FileStore.open(there.stateDir, () => {});
  expect(restored).toMatchObject({ lockout: LOCK, latched, clean: false, settled: false });
});

test('one file beside that is there already is enough to refuse, and a link there is not followed', async () => {
  const { archive } = await backedUp('a');
  const home = join(root, 'c');
  const secret = join(root, 'secret');
  await fs.mkdir(home);
  await fs.writeFile(secret, 'mine');
  await fs.symlink(secret, join(home, 'wave.take'));
  await fs.symlink(secret, join(home, '.hoot.wav.new'));
  const file = join(home, 'owl.yaml');
  const refused = await sinew('restore', archive, file);
  expect(refused.err).toContain(join(home, 'wave.take'));
  expect(await exists(file)).toBe(false);
  expect((await sinew('restore', archive, file, '--replace')).code).toBe(0);
  expect(await fs.readFile(secret, 'utf8')).toBe('mine');
  expect(await fs.readFile(join(home, 'wave.take'), 'utf8')).toBe(TAKE);
});

test('nothing is restored while a daemon has the state folder', async () => {
  const { archive } = await backedUp('a');
  const there = await made('b');
  // Another process that lives stands for the daemon.
  await fs.writeFile(
    join(there.stateDir, 'daemon.lock'),
    JSON.stringify(lifeOf(process.ppid) ?? { pid: process.ppid, startTicks: 0, bootId: '' }),
  );
  const { code, err } = await sinew(
    ...['restore', archive, there.file, '--state-dir', there.stateDir, '--replace'],
  );
  expect(code).toBe(1);
  expect(err).toContain(`another sinewd (process ${process.ppid}) has the state folder`);
  expect(err).toContain('systemctl stop sinewd');
  expect(await fs.readFile(there.file, 'utf8')).toBe(PROP('third'));
});

test('a damaged state stays damaged, so that the daemon starts locked', async () => {
  const sound = JSON.stringify({
    ...{ version: 1, bootId: 'x', settled: true, positions: { a: 1 }, duty: {}, lockout: LOCK },
  });
  expect(stateAfterRestore('{"version":1', undefined)).toBe('');
  expect(stateAfterRestore(sound, '')).toBe('');
  expect(stateAfterRestore(sound.replace('"version":1', '"version":2'), undefined)).toBe('');
  expect(JSON.parse(stateAfterRestore(sound, undefined)).positions).toEqual({});
  // A sensor that was proven on one board is not proven on another.
  const proven = sound.replace('"duty"', '"angles":{"a":{"digest":"0","proven":true}},"duty"');
  expect(stateAfterRestore(proven, undefined)).not.toContain('proven');
  expect(stateAfterRestore(proven, undefined)).not.toBe('');
  expect(JSON.parse(stateAfterRestore(undefined, undefined)).clean).toBe(false);
  await fs.writeFile(join(root, 'state.json'), stateAfterRestore(sound, ''));
  expect((await FileStore.open(root, () => {})).restored).toBe('damaged');
});

test('what is missing beside the file is said; a backup of nothing, and onto nothing, is refused', async () => {
  const { file, stateDir, home } = await made('a');
  await fs.rm(join(home, 'wave.take'));
  await fs.rm(join(home, 'hoot.wav'));
  await fs.symlink('/etc/hostname', join(home, 'hoot.wav'));
  const out = join(root, 'x.zip');
  const part = await sinew('backup', file, '--state-dir', stateDir, '--out', out);
  expect(part.code).toBe(1);
  expect(part.out).toContain('wave.take (ENOENT)');
  expect(part.out).toContain('hoot.wav (it is a link)');
  expect((await sinew('backup', file)).code).toBe(2);
  const none = await sinew('backup', join(home, 'none.yaml'), '--out', out);
  expect(none.err).toContain('none.yaml cannot be read (ENOENT)');
  const odd = await sinew('restore', file, join(root, 'y', 'owl.yaml'));
  expect(odd.err).toContain('cannot be used');
  expect(await exists(join(root, 'y'))).toBe(false);
  const nowhere = await sinew('backup', file, '--out', join(root, 'no', 'x.zip'));
  expect(nowhere.err).toContain('cannot write');
});
