import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import type { Params, Result } from '../../../src/api/methods.ts';
import { parseProp } from '../../../src/prop/load.ts';
import { wavOf } from '../../sound/wav.ts';
import { OWLET } from '../owlet.ts';
import { ME, Rig, refusal } from '../rig.ts';

// The sounds beside the prop file: what the core gets of them, and what becomes of changes by hand.

let rig: Rig;
afterEach(() => rig.remove());

const VOICED = OWLET.replace('boards:\n', 'boards:\n  speaker: { driver: alsa }\n')
  .replace(
    'channels:\n',
    'channels:\n  voice: { kind: sound, output: { board: speaker }, ceiling: 0.1 }\n',
  )
  .replace(
    'cues:\n',
    'sounds: { hoot: hoot.wav }\ncues:\n  call: [{ at: 0, sound: { voice: hoot } }]\n',
  );

async function open(files: Record<string, Buffer | string>, program?: string): Promise<void> {
  rig = await Rig.open();
  await rig.close();
  await write({ 'owl.yaml': VOICED, ...files });
  rig = await Rig.open({ folder: rig.folder, ...(program && { program }) });
}
async function write(files: Record<string, Buffer | string>): Promise<void> {
  for (const [name, content] of Object.entries(files))
    await fs.writeFile(join(rig.folder, name), content);
}
const hootS = () => {
  const { rest } = rig.core.changes.at(-1)!.begin;
  return (rest as { soundFiles: Record<string, { durationS: number }> }).soundFiles.hoot!.durationS;
};

test('a sound that is put there after the start, or replaced, is in use at once', async () => {
  await open({});
  expect(rig.opened.prop.soundFiles?.hoot?.durationS).toBe(0);
  await rig.pass(1200);
  await write({ 'hoot.wav': wavOf() });
  await rig.pass(1700);
  expect(hootS()).toBe(0.5);
  const { begin, cues } = rig.core.changes.at(-1)!;
  expect(begin.whenParked).toBe(false);
  expect(cues.get('call')!.durationS).toBe(0.5);
  expect(rig.reported.at(-1)).toBe(
    'the prop file was changed and is in use: sound hoot: another file',
  );
  await write({ 'hoot.wav': wavOf({ data: Buffer.alloc(16_000) }) });
  await rig.pass(1700);
  expect(hootS()).toBe(1);
  const changes = rig.core.changes.length;
  await rig.pass(3000);
  expect(rig.core.changes).toHaveLength(changes);
});

test('a pipe in its place holds nothing up', async () => {
  await open({});
  const { execFileSync } = await import('node:child_process');
  execFileSync('mkfifo', [join(rig.folder, 'hoot.wav')]);
  await rig.pass(1700);
  expect(rig.core.changes.at(-1)!.begin.rest).toMatchObject({
    soundFiles: { hoot: { durationS: 0, problem: { wrong: 'it is not a regular file' } } },
  });
});

test('a sound that was replaced while the daemon did not run is read at its start', async () => {
  const program = join(import.meta.dirname, 'sounds.test.ts');
  await open({ 'hoot.wav': wavOf() }, program);
  await rig.pass(1000);
  await rig.close();
  await write({ 'hoot.wav': wavOf({ data: Buffer.alloc(32_000) }) });
  rig = await Rig.open({ folder: rig.folder, program });
  expect(rig.opened.prop.soundFiles?.hoot?.durationS).toBe(2);
});

test('a take that is mended makes a prop file usable that had errors for it', async () => {
  await open({ 'hoot.wav': wavOf() });
  const take = (deg: number) => `sinew take 1\nservo beak\n0 0\n1 ${deg}\n2 0\n`;
  const named = VOICED.replace(
    'cues:\n',
    'takes: { nod: nod.take }\ncues:\n  nod: [{ at: 0, take: nod }]\n',
  );
  await write({ 'owl.yaml': named, 'nod.take': take(40) });
  await rig.pass(1700);
  expect(rig.status.problem).toMatch(/past its soft limits/);
  const said = rig.reported.length;
  await rig.pass(2000);
  expect(rig.reported).toHaveLength(said);
  await write({ 'nod.take': take(10) });
  await rig.pass(1700);
  expect(rig.status.problem).toBeUndefined();
  expect(rig.core.changes.at(-1)!.cues.get('nod')!.takes).toHaveLength(1);
});

const follow = (over: object = {}) =>
  rig.ask<Result<'sound.follow'>>((n) => ({
    ...{ t: 'sound-follow', n, by: ME },
    params: {
      ...{ sound: 'hoot', channel: 'beak', shut: 0, open: 30 },
      ...{ floorLufs: -45, rangeLu: 25, attackS: 0.04, releaseS: 0.12, ...over },
    },
  }));
const parts = async () => {
  const { takes, sounds } = parseProp(await rig.read(), rig.file).prop!;
  return { takes, sounds };
};

describe('a servo that follows a sound', () => {
  const versions = async () => {
    const history: Result<'prop.history'> = await rig.question('prop.history');
    return history.versions;
  };

  test('is one change of the file, which one undo takes back as a whole', async () => {
    await open({ 'hoot.wav': wavOf() });
    const before = await versions();
    const { take, version } = await follow();
    expect(take).toBe('hoot_beak');
    const after = await versions();
    expect(after.map((one) => one.version)).toEqual([version, ...before.map((one) => one.version)]);
    expect(await parts()).toMatchObject({
      takes: { hoot_beak: 'hoot_beak.take' },
      sounds: { hoot: { file: 'hoot.wav', follow: { beak: { open: 30, take: 'hoot_beak' } } } },
    });
  });

  test('its own take is replaced, and one that a person made or edited never is', async () => {
    await open({ 'hoot.wav': wavOf() });
    await follow();
    expect((await follow({ open: 20 })).take).toBe('hoot_beak');
    expect((await parts()).takes).toEqual({ hoot_beak: 'hoot_beak-2.take' });
    // Edited by hand.
    const path = join(rig.folder, 'hoot_beak-2.take');
    const edited = (await fs.readFile(path, 'utf8')).replace(
      'servo beak\n',
      'servo beak\n# mine\n',
    );
    await fs.writeFile(path, edited);
    const third = await follow({ open: 10 });
    expect(third.take).toBe('hoot_beak_2');
    expect((await parts()).takes).toMatchObject({ hoot_beak: 'hoot_beak-2.take' });
    expect(await fs.readFile(path, 'utf8')).toBe(edited);
    // From then on that one is its own.
    expect((await follow({ open: 12 })).take).toBe('hoot_beak_2');
  });

  test('a take of this name that was recorded stays', async () => {
    await open({ 'hoot.wav': wavOf() });
    const by = 'sinew take 1\nservo beak\n0 0\n1 10\n2 0\n';
    await write({
      'performed.take': by,
      'owl.yaml': VOICED.replace('cues:\n', 'takes: { hoot_beak: performed.take }\ncues:\n'),
    });
    await rig.pass(1700);
    const { take } = await follow();
    expect(take).toBe('hoot_beak_2');
    expect((await parts()).takes).toMatchObject({ hoot_beak: 'performed.take' });
  });
});

describe('a sound that is sent', () => {
  type Added = Result<'sound.add'>;
  const begin = (bytes: number, session = 's1') =>
    rig.ask<Result<'sound.begin'>>((n) => ({
      ...{ t: 'sound-begin', n, bytes },
      by: { ...ME, session },
    }));
  const part = (upload: number, at: number, bytes: Uint8Array) =>
    rig.question('sound.part', { upload, at, data: Buffer.from(bytes).toString('base64') });
  const add = (params: Params<'sound.add'>) =>
    rig.ask<Added>((n) => ({ t: 'sound-add', n, params, by: ME }));
  const remove = (sound: string) =>
    rig.ask<Result<'sound.remove'>>((n) => ({ t: 'sound-remove', n, params: { sound }, by: ME }));
  async function send(name: string, bytes: Uint8Array, over: object = {}): Promise<Added> {
    const { upload, partBytes } = await begin(bytes.length);
    for (let at = 0; at < bytes.length; at += partBytes)
      await part(upload, at, bytes.subarray(at, at + partBytes));
    return add({ upload, name, ...over });
  }
  const codeOf = async (work: Promise<unknown>) => (await refusal(work)).error.data.code;
  const long = wavOf({ data: Buffer.alloc(200_000, 7) });

  test('is checked, kept beside the prop file and listed there, comments kept; going back undoes it', async () => {
    await open({ 'owl.yaml': VOICED.replace('sounds: {', '# What it says.\nsounds: {') });
    const before = await rig.read();
    const { version } = (await rig.question('prop.read')) as { version: string };
    const added = await send('coo', long);
    expect(added).toMatchObject({ sound: 'coo', file: 'coo.wav', durationS: 12.5 });
    expect((await fs.readFile(join(rig.folder, 'coo.wav'))).equals(long)).toBe(true);
    expect(await rig.read()).toBe(
      before.replace('{ hoot: hoot.wav }', '{ hoot: hoot.wav, coo: coo.wav }'),
    );
    expect(added.pending).toBe(true);
    await rig.restore(version);
    expect(await rig.read()).toBe(before);
  });

  test('into a prop without sounds begins their list', async () => {
    await open({ 'owl.yaml': OWLET });
    await send('coo', wavOf());
    expect((await parts()).sounds).toEqual({ coo: 'coo.wav' });
  });

  test('twice is kept once; another one under its name is refused, or takes its place on purpose', async () => {
    await open({ 'hoot.wav': wavOf() });
    await send('coo', wavOf());
    for (const taken of ['coo', 'hoot']) {
      expect(await codeOf(send(taken, long))).toBe('sound.name-taken');
      await rig.question('sound.cancel');
    }
    expect((await send('coo', wavOf(), { replace: true })).file).toBe('coo.wav');
    expect((await send('coo', long, { replace: true })).file).toBe('coo-2.wav');
    expect((await parts()).sounds).toEqual({ hoot: 'hoot.wav', coo: 'coo-2.wav' });
    // What follows a sound stays with it.
    await follow();
    await send('hoot', long, { replace: true });
    expect((await parts()).sounds.hoot).toMatchObject({
      file: 'hoot-2.wav',
      follow: { beak: { take: 'hoot_beak' } },
    });
  });

  test('that is broken, no sound, too large or cut is refused with the reason, and nothing is written', async () => {
    await open({});
    const text = await rig.read();
    const { error } = await refusal(send('coo', Buffer.from('a letter that says nothing')));
    expect(error.data.code).toBe('sound.unreadable');
    expect(error.data.reason).toMatch(/not a sound of a known kind; save it again as WAV/);
    expect(
      await codeOf(send('coo', Buffer.from('fLaC and nothing more, which is no stream'))),
    ).toBe('sound.unreadable');
    const large = await refusal(begin(20_000_001));
    expect(large.error.data).toMatchObject({ code: 'sound.too-large', limitBytes: 20_000_000 });
    expect(large.error.data.reason).toContain('20.0 MB, and 20 MB are allowed; make it shorter');
    const { upload } = await begin(long.length);
    await part(upload, 0, long.subarray(0, 1000));
    expect(await codeOf(add({ upload, name: 'coo' }))).toBe('sound.wrong-part');
    expect(await codeOf(begin(100, 's2'))).toBe('sound.busy');
    rig.service.gone('s1');
    expect(await codeOf(add({ upload, name: 'coo' }))).toBe('sound.no-upload');
    await begin(100, 's2');
    expect(await rig.question('sound.cancel', {}, 's2')).toEqual({ cancelled: true });
    expect(await rig.read()).toBe(text);
    expect((await rig.files()).filter((name) => name.includes('coo'))).toEqual([]);
  });

  test('onto a full disk changes nothing, and says what to do', async () => {
    await open({});
    const text = await rig.read();
    await rig.close();
    const full = async (path: string, flags: string, mode?: number) => {
      if (path.includes('coo')) throw Object.assign(new Error('full'), { code: 'ENOSPC' });
      return fs.open(path, flags, mode);
    };
    const fileSystem = { ...fs, open: full as typeof fs.open };
    rig = await Rig.open({ folder: rig.folder, fileSystem });
    const { error } = await refusal(send('coo', wavOf()));
    expect(error.data).toMatchObject({ code: 'sound.not-saved', errno: 'ENOSPC' });
    expect(error.data.reason).toContain('free some disk space');
    expect(await rig.read()).toBe(text);
  });

  test('is removed again unless a cue plays it, and its file stays', async () => {
    await open({ 'hoot.wav': wavOf() });
    await send('coo', wavOf());
    const { error } = await refusal(remove('hoot'));
    expect(error.data).toMatchObject({ code: 'sound.in-use', cues: ['call'] });
    expect(await codeOf(remove('hut'))).toBe('sound.unknown');
    await remove('coo');
    expect((await parts()).sounds).toEqual({ hoot: 'hoot.wav' });
    expect(await rig.files()).toContain('coo.wav');
  });
});
