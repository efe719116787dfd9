import fs, { mkdir, mkdtemp, readdir, readFile, rm, stat, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Saved } from '../../src/core/store.ts';
import { FileStore } from '../../src/service/state-file.ts';

let folder: string;
let errors: Error[];

beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'store-'));
  errors = [];
});
afterEach(() => rm(folder, { recursive: true, force: true }));

const open = (at = folder) => FileStore.open(at, (error) => errors.push(error));
const path = () => join(folder, 'state.json');

const STATE: Saved = {
  settled: true,
  positions: { neck: 12.5, jaw: -3 },
  digests: { neck: '0123456789abcdef', jaw: 'fedcba9876543210' },
  duty: { mist: { usedS: 1.5, on: false, changedS: 99.25, output: 'head 7' } },
  latched: { condition: 'stopped', stoppedBy: ['desk'] },
  clean: true,
};

test('what was saved is restored, in the same boot', async () => {
  const store = await open();
  expect(store.restored).toBe('none');
  store.save(STATE, true);
  await store.flush();
  expect((await open()).restored).toEqual({ ...STATE, sameBoot: true });
  expect(errors).toEqual([]);
});

const DROPS = [{ digest: '0123456789abcdef', classes: [[3, 20, 1.5, 0.6, 0.2, 0.4, 0.16, 1.5]] }];

test('a weak wire is kept; a record of it that is damaged costs nothing else', async () => {
  const store = await open();
  store.save({ ...STATE, drops: DROPS }, true);
  await store.flush();
  expect((await open()).restored).toEqual({ ...STATE, drops: DROPS, sameBoot: true });
  const file = JSON.parse(await readFile(path(), 'utf8'));
  for (const drops of [null, 7, 'W01', {}, [7], [{ digest: 1, classes: [] }], [{ digest: 'a' }]]) {
    await writeFile(path(), JSON.stringify({ ...file, drops }));
    expect((await open()).restored).toEqual({ ...STATE, sameBoot: true });
  }
});

test('a power cut in the middle of a write leaves the weak wire that was saved before', async () => {
  const store = await open();
  store.save({ ...STATE, drops: DROPS }, true);
  await store.flush();
  const before = await readFile(path());
  // The power fails before the new file has its name.
  const cut = await FileStore.open(folder, () => {}, {
    ...fs,
    rename: () => new Promise(() => {}),
  } as never);
  void cut.save({ ...STATE, drops: [{ ...DROPS[0]!, classes: [] }] }, true);
  await expect.poll(async () => (await readdir(folder)).length).toBeGreaterThan(1);
  expect(await readFile(path())).toEqual(before);
  expect((await open()).restored).toMatchObject({ drops: DROPS });
});

test('a lockout is kept, and one of another shape makes the whole damaged', async () => {
  const lockout = [{ by: 'a', reason: 'night', time: '2026-01-01T00:00:00.000Z' }];
  const store = await open();
  store.save({ ...STATE, lockout }, true);
  await store.flush();
  expect((await open()).restored).toEqual({ ...STATE, lockout, sameBoot: true });
  const file = JSON.parse(await readFile(path(), 'utf8'));
  await writeFile(path(), JSON.stringify({ ...file, lockout: [{ by: 'a' }] }));
  expect((await open()).restored).toBe('damaged');
});

test('a file of an earlier release, without digests, can be read', async () => {
  await writeFile(
    path(),
    '{"version":1,"bootId":"b","settled":true,"positions":{"neck":1},"duty":{}}',
  );
  expect((await open()).restored).toEqual({
    settled: true,
    sameBoot: false,
    positions: { neck: 1 },
    duty: {},
    // The words are those of tests/formats.test.ts.
    lacks: [expect.any(String), expect.any(String)],
  });
});

test('written in another boot it says so', async () => {
  const store = await open();
  store.save(STATE, true);
  await store.flush();
  const file = JSON.parse(await readFile(path(), 'utf8'));
  await writeFile(path(), JSON.stringify({ ...file, bootId: 'another' }));
  expect((await open()).restored).toEqual({ ...STATE, sameBoot: false });
});

test('cut off after any byte it is damaged, never taken for sound, and never throws', async () => {
  const store = await open();
  store.save(STATE, true);
  await store.flush();
  const whole = await readFile(path());
  for (let bytes = 0; bytes < whole.length; bytes++) {
    await writeFile(path(), whole.subarray(0, bytes));
    expect([bytes, (await open()).restored]).toEqual([bytes, 'damaged']);
  }
});

test('with any one byte changed it is damaged or has its lockout and its stop', async () => {
  const lockout = [{ by: 'a', reason: 'night', time: '2026-01-01T00:00:00.000Z' }];
  const store = await open();
  store.save({ ...STATE, lockout }, true);
  await store.flush();
  const whole = await readFile(path());
  let sound = 0;
  for (let at = 0; at < whole.length; at++)
    for (const bit of [0x01, 0x04, 0x20]) {
      const changed = Buffer.from(whole);
      changed[at]! ^= bit;
      await writeFile(path(), changed);
      const { restored } = await open();
      if (typeof restored === 'string') continue;
      sound++;
      expect([restored.lockout?.length, restored.latched?.condition]).toEqual([1, 'stopped']);
    }
  expect(sound).toBeGreaterThan(100);
});

test('on a sector that cannot be read it is damaged; what a person can mend keeps the daemon from starting', async () => {
  const fails = (code: string) =>
    FileStore.open(folder, () => {}, {
      ...fs,
      readFile: () => Promise.reject(Object.assign(new Error(code), { code })),
    } as never);
  expect((await fails('EIO')).restored).toBe('damaged');
  await expect(fails('EACCES')).rejects.toThrow('EACCES');
});

test('with any one byte changed it is damaged or holds sound types', async () => {
  const store = await open();
  store.save(STATE, true);
  await store.flush();
  const whole = await readFile(path());
  for (let at = 0; at < whole.length; at++)
    for (const byte of [0x00, 0x22, 0x39, 0xff]) {
      const changed = Buffer.from(whole);
      changed[at] = byte;
      await writeFile(path(), changed);
      const { restored } = await open();
      if (typeof restored === 'string') continue;
      for (const deg of Object.values(restored.positions)) expect(Number.isFinite(deg)).toBe(true);
      for (const { usedS, changedS, on } of Object.values(restored.duty))
        expect([Number.isFinite(usedS), Number.isFinite(changedS), typeof on]).toEqual([
          true,
          true,
          'boolean',
        ]);
    }
});

test.each([
  [
    'a number too large for one',
    '{"version":1,"bootId":"b","settled":true,"positions":{"a":1e999},"duty":{}}',
  ],
  ['null', 'null'],
  ['an older version', '{"version":0,"bootId":"b","settled":true,"positions":{},"duty":{}}'],
  [
    'a position that is text',
    '{"version":1,"bootId":"b","settled":true,"positions":{"a":"1"},"duty":{}}',
  ],
  [
    'a member that nobody knows',
    '{"version":1,"bootId":"b","settled":true,"positions":{},"duty":{},"lockouu":[]}',
  ],
  ['nothing', ''],
])('%s is damaged', async (_what, text) => {
  await writeFile(path(), text);
  expect((await open()).restored).toBe('damaged');
});

test('the newest of many saves is what stays, and no other file', async () => {
  const store = await open();
  for (let i = 0; i < 500; i++) store.save({ ...STATE, positions: { neck: i } }, i % 50 === 0);
  await store.flush();
  expect((await open()).restored).toMatchObject({ positions: { neck: 499 } });
  expect(await readdir(folder)).toEqual(['state.json']);
});

test('a reader never sees half a file while it is being written', async () => {
  const store = await open();
  store.save(STATE, false);
  await store.flush();
  const many = Object.fromEntries(Array.from({ length: 500 }, (_, i) => [`servo_${i}`, i / 7]));
  let writing = true;
  const writes = (async () => {
    for (let i = 0; i < 60; i++) {
      store.save({ ...STATE, positions: many }, i % 2 === 0);
      await store.flush();
    }
    writing = false;
  })();
  let reads = 0;
  while (writing) {
    expect(JSON.parse(await readFile(path(), 'utf8')).version).toBe(1);
    reads++;
  }
  await writes;
  expect(reads).toBeGreaterThan(0);
});

test('is for its owner alone', async () => {
  const store = await open(join(folder, 'deep', 'er'));
  store.save(STATE, true);
  await store.flush();
  expect((await stat(join(folder, 'deep', 'er', 'state.json'))).mode & 0o777).toBe(0o600);
});

describe('when it cannot be written', () => {
  test('onError hears of it, what is out of date is not trusted, and the next save is tried again', async () => {
    const store = await open();
    store.save(STATE, true);
    await store.flush();
    // A folder in the way of the temporary file: it fails for every user, root included.
    await mkdir(`${path()}.new`);
    expect(() => store.save({ ...STATE, settled: false }, true)).not.toThrow();
    await store.flush();
    expect(errors).toHaveLength(1);
    expect((await open()).restored).toBe('damaged');
    expect(store.noted).toBe('yes');
    await rm(`${path()}.new`, { recursive: true });
    store.save({ ...STATE, settled: false }, false);
    await store.flush();
    expect((await open()).restored).toMatchObject({ settled: false });
    expect(errors).toHaveLength(1);
  });

  test('and not emptied either, it says so until it is written', async () => {
    const readOnly = () => Promise.reject(new Error('EROFS: read-only file system'));
    let broken = false;
    const store = await FileStore.open(folder, (error) => errors.push(error), {
      ...fs,
      open: (...args: Parameters<typeof fs.open>) => (broken ? readOnly() : fs.open(...args)),
    });
    store.save(STATE, true);
    expect(store.noted).toBe('not yet');
    await store.flush();
    expect(store.noted).toBe('yes');
    broken = true;
    store.save({ ...STATE, settled: false }, true);
    await store.flush();
    expect(String(store.noted)).toContain('EROFS');
    expect((await open()).restored).toMatchObject({ settled: true });
    broken = false;
    store.save({ ...STATE, settled: false }, true);
    await store.flush();
    expect(store.noted).toBe('yes');
  });
});

test('time since the machine started runs on and is the same for two stores', async () => {
  const [one, other] = [await open(), await open()];
  const first = one.bootNowS();
  const second = other.bootNowS();
  expect(second).toBeGreaterThanOrEqual(first);
  expect(second - first).toBeLessThan(5);
});
