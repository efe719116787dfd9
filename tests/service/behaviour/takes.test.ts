import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import type { Params, Result } from '../../../src/api/methods.ts';
import type { Recording } from '../../../src/core/recorder.ts';
import { parseTake } from '../../../src/prop/take/take-text.ts';
import { TakeCurve } from '../../../src/sums/take-curve.ts';
import { OWLET } from '../owlet.ts';
import { ME, Rig, type RigOptions, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};

/** A beak that chatters for so long, beside a lid that closes slowly. */
function recordingOf(durationS: number, channels = ['beak', 'lid_left']): Recording {
  const count = 1 + Math.round(50 * durationS);
  const memory = new SharedArrayBuffer(4 * channels.length * count);
  const samples = new Float32Array(memory);
  for (let i = 0; i < count; i++)
    for (let at = 0; at < channels.length; at++)
      samples[i * channels.length + at] =
        at === 0 ? 15 - 15 * Math.cos((2 * Math.PI * i) / 50) : 40 - (20 * i) / count;
  return { channels, over: undefined, samples, count, ended: 'desk ended it' };
}

const save = (params: Params<'take.save'>, recording = recordingOf(4)) =>
  rig.ask<Result<'take.save'>>((n) => ({ t: 'take-save', n, recording, params, by: ME }));
const read = (params: Params<'take.read'>, recording = recordingOf(4)) =>
  rig.ask<Pick<Result<'take.read'>, 'recorded' | 'simplified'>>((n) => ({
    ...{ t: 'take-read', n, recording, params },
  }));
const codeOf = async (work: Promise<unknown>) => (await refusal(work)).error.data.code;
const textOf = (file: string) => fs.readFile(join(rig.folder, file), 'utf8');

async function takeIn(file: string) {
  const { take, findings } = parseTake(await textOf(file), file);
  expect(findings).toEqual([]);
  return take!;
}

describe('a recording that is saved', () => {
  test('is a file beside the prop file, which lists it and keeps its comments', async () => {
    await open();
    const { version } = rig.status;
    const saved = await save({ name: 'chatter', toleranceDeg: 0.5 });
    expect(saved).toMatchObject({ name: 'chatter', file: 'chatter.take', pending: false });
    expect(saved.version).not.toBe(version);
    const text = await rig.read();
    expect(text).toMatch(/^takes:\s+\{? ?chatter: chatter\.take/m);
    expect(text.startsWith(OWLET.slice(0, 400))).toBe(true);
    expect(await rig.files()).toEqual(['chatter.take', 'owl.yaml', 'owl.yaml.~1~']);
    const mode = async (name: string) => (await fs.stat(join(rig.folder, name))).mode & 0o777;
    expect(await mode('chatter.take')).toBe(await mode('owl.yaml'));
    // The core uses it from then on.
    expect(rig.core.version).toBe(saved.version);
  });

  test.each([0.1, 0.5, 2])(
    'is within %s deg of what was recorded, at every sample',
    async (toleranceDeg) => {
      await open();
      const recording = recordingOf(4);
      const { points } = await save({ name: 'chatter', toleranceDeg }, recording);
      const { servos } = await takeIn('chatter.take');
      expect(servos.map(({ name }) => name)).toEqual(['beak', 'lid_left']);
      expect(servos.reduce((sum, { deg }) => sum + deg.length, 0)).toBe(points);
      expect(points).toBeLessThan(150);
      for (const [at, { timesS, deg }] of servos.entries()) {
        const curve = new TakeCurve(timesS, deg);
        for (let i = 0; i < recording.count; i++)
          expect(Math.abs(curve.at(i / 50) - recording.samples[2 * i + at]!)).toBeLessThanOrEqual(
            toleranceDeg + 1e-3,
          );
      }
    },
  );

  test('begins where it was trimmed, and is as long as what is left', async () => {
    await open();
    const { durationS } = await save({ name: 'part', trim: [1, 2.5], toleranceDeg: 0.1 });
    expect(durationS).toBe(1.5);
    const { servos } = await takeIn('part.take');
    expect(servos[0]!.timesS[0]).toBe(0);
    expect(servos[0]!.timesS.at(-1)).toBe(1.5);
    // 15 - 15 cos(2 pi 2.5)
    expect(servos[0]!.deg.at(-1)).toBeCloseTo(30, 2);
  });

  test('of 300 s on 24 servos is taken too, or refused as too long with the remedy', async () => {
    await open();
    const many = Array.from({ length: 24 }, (_, i) => `s${i}`);
    const wild = recordingOf(300, many);
    for (let i = 0; i < wild.samples.length; i++) wild.samples[i] = (i * 7919) % 40;
    const { error } = await refusal(save({ name: 'wild', toleranceDeg: 0 }, wild));
    expect(error.data).toMatchObject({ code: 'take.too-long', limit: 30_000 });
    expect(await rig.files()).toEqual(['owl.yaml']);
  });
});

describe('a name that is taken', () => {
  test('is refused; on purpose it is replaced, and the version before has its own still', async () => {
    await open();
    const before = await save({ name: 'chatter' }, recordingOf(2));
    const first = await textOf('chatter.take');
    const { error } = await refusal(save({ name: 'chatter' }, recordingOf(3)));
    expect(error.data).toMatchObject({ code: 'take.name-taken', name: 'chatter' });
    expect(await textOf('chatter.take')).toBe(first);
    const after = await save({ name: 'chatter', replace: true }, recordingOf(3));
    expect(after.file).toBe('chatter-2.take');
    expect(await rig.read()).toContain('chatter: chatter-2.take');
    expect(await textOf('chatter.take')).toBe(first);
    await rig.restore(before.version);
    expect(await rig.read()).toContain('chatter: chatter.take');
  });

  test('two at once: one is saved, the other refused', async () => {
    await open();
    const results = await Promise.allSettled([
      save({ name: 'chatter' }, recordingOf(2)),
      save({ name: 'chatter' }, recordingOf(3)),
    ]);
    expect(results.map(({ status }) => status).sort()).toEqual(['fulfilled', 'rejected']);
    expect((await rig.files()).filter((name) => name.endsWith('.take'))).toEqual(['chatter.take']);
  });

  test('a file of that name that the prop file does not list is left alone', async () => {
    await open();
    await fs.writeFile(join(rig.folder, 'chatter.take'), 'somebody else');
    expect((await save({ name: 'chatter' })).file).toBe('chatter-2.take');
    expect(await textOf('chatter.take')).toBe('somebody else');
  });
});

describe('what cannot be saved loses nothing', () => {
  test('another version of the prop file than was asked for', async () => {
    await open();
    const { version } = rig.status;
    await rig.capture(['channels', 'beak', 'marks', 'ajar'], 12);
    expect(await codeOf(save({ name: 'chatter', version }))).toBe('file.other-version');
    expect((await rig.files()).filter((name) => name.endsWith('.take'))).toEqual([]);
    // Without a version it is added to what is there now, an edit by hand included.
    await rig.byHand('# An owl for tests.', '# An owl for tests, edited.');
    await save({ name: 'chatter' });
    const text = await rig.read();
    expect(text).toContain('# An owl for tests, edited.');
    expect(text).toContain('ajar: 12');
    expect(text).toContain('chatter: chatter.take');
  });

  test('nothing left between the two times', async () => {
    await open();
    expect(await codeOf(save({ name: 'nothing', trim: [5, 6] }))).toBe('take.trimmed-away');
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test.each([
    ['ENOSPC', '.take'],
    ['EROFS', '.take'],
    ['ENOSPC', 'owl.yaml'],
  ])('a disk that says %s when %s is written', async (code, name) => {
    let fails = true;
    const fileSystem = {
      ...fs,
      open: (async (path: string, flags: string, mode?: number) => {
        const handle = await fs.open(path, flags, mode);
        if (!fails || !path.includes(name) || flags === 'r') return handle;
        return new Proxy(handle, {
          get(target, key) {
            const method = Reflect.get(target, key);
            if (key === 'writeFile')
              return async () => {
                // A full disk takes a part first.
                await target.write(Buffer.alloc(10));
                throw Object.assign(new Error(code), { code });
              };
            return typeof method === 'function' ? method.bind(target) : method;
          },
        });
      }) as typeof fs.open,
    };
    await open({ fileSystem });
    const { error } = await refusal(save({ name: 'chatter' }));
    expect(error.data).toMatchObject({
      code: name === '.take' ? 'take.not-saved' : 'file.not-saved',
    });
    expect(error.data.reason).toMatch(/free some disk space|let the daemon's user write|disk/);
    expect(await rig.read()).toBe(OWLET);
    expect(await rig.files()).toEqual(['owl.yaml']);
    fails = false;
    expect((await save({ name: 'chatter' })).file).toBe('chatter.take');
  });

  test('a name that many files have', async () => {
    await open();
    for (let n = 1; n <= 100; n++)
      await fs.writeFile(join(rig.folder, n === 1 ? 'odd.take' : `odd-${n}.take`), 'other');
    expect(await codeOf(save({ name: 'odd' }))).toBe('take.too-many');
  });

  test('a session that is gone before its turn', async () => {
    await open();
    rig.service.receive({ t: 'gone', session: ME.session } as never);
    // Gone before it asked: it asks no more, and another one may.
    expect((await save({ name: 'chatter' })).name).toBe('chatter');
  });
});

describe('a recording that is looked at', () => {
  test('shows what was recorded, and what would be saved of it', async () => {
    await open();
    const { recorded, simplified } = await read({ trim: [1, 2], toleranceDeg: 1 });
    expect(Object.keys(recorded!)).toEqual(['beak', 'lid_left']);
    expect(recorded!.beak![0]).toEqual([0, 0]);
    expect(recorded!.beak!.at(-1)![0]).toBe(4);
    // At its place in the recording.
    expect(simplified!.beak![0]![0]).toBe(1);
    expect(simplified!.beak!.at(-1)![0]).toBe(2);
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test('a long and wild one has few enough points for a drawing', async () => {
    await open();
    const wild = recordingOf(300, ['beak']);
    for (let i = 0; i < wild.samples.length; i++) wild.samples[i] = (i * 7919) % 40;
    const { recorded } = await read({}, wild);
    expect(recorded!.beak!.length).toBeLessThanOrEqual(600);
    expect(JSON.stringify(recorded).length).toBeLessThan(20_000);
  });
});
