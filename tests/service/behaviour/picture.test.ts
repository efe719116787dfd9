import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { versionOf } from '../../../src/prop/file/version.ts';
import { BASELINE, GPS_ON_ITS_SIDE, PNG_WITH_NOTES } from '../../prop/picture/pictures.ts';
import { OWLET } from '../owlet.ts';
import { type Applied, ME, Rig, type RigOptions, refusal } from '../rig.ts';

let rig: Rig;
afterEach(() => rig.remove());
const open = async (options: RigOptions = {}) => {
  rig = await Rig.open(options);
};
type Begun = { upload: number; partBytes: number };
type Ended = { file: string; width: number; height: number; leftOut: string[] };

const begin = (name: string, bytes: number, session = 's1') =>
  rig.ask<Begun>((n) => ({ t: 'picture-begin', n, name, bytes, by: { ...ME, session } }));
const end = (upload: number, session = 's1') =>
  rig.ask<Ended>((n) => ({ t: 'picture-end', n, upload, by: { ...ME, session } }));
const part = (upload: number, at: number, bytes: Uint8Array, session?: string) =>
  rig.question(
    'picture.part',
    { upload, at, data: Buffer.from(bytes).toString('base64') },
    session,
  );

async function send(name: string, bytes: Uint8Array, session?: string): Promise<Ended> {
  const { upload, partBytes } = await begin(name, bytes.length, session);
  for (let at = 0; at < bytes.length; at += partBytes)
    await part(upload, at, bytes.subarray(at, at + partBytes), session);
  return end(upload, session);
}
const codeOf = async (work: Promise<unknown>) => (await refusal(work)).error.data.code;

describe('a picture that is sent', () => {
  test('is kept beside the prop file without its notes, and the one before stays', async () => {
    await open();
    expect(await send('owl.jpeg', GPS_ON_ITS_SIDE)).toEqual({
      file: 'owl.jpg',
      width: 16,
      height: 24,
      leftOut: ['notes such as where and when it was made', 'notes of its maker'],
    });
    const first = await fs.readFile(join(rig.folder, 'owl.jpg'));
    expect(first.includes('A camera')).toBe(false);
    expect((await send('owl.jpg', BASELINE)).file).toBe('owl-2.jpg');
    expect(await fs.readFile(join(rig.folder, 'owl.jpg'))).toEqual(first);
    // The same one again is not kept twice; what it is decides on its ending.
    expect((await send('owl.jpg', BASELINE)).file).toBe('owl-2.jpg');
    expect((await send('owl.jpg', PNG_WITH_NOTES)).file).toBe('owl.png');
    expect(await rig.files()).toEqual(['owl-2.jpg', 'owl.jpg', 'owl.png', 'owl.yaml']);
    const mode = async (name: string) => (await fs.stat(join(rig.folder, name))).mode & 0o777;
    expect(await mode('owl.png')).toBe(await mode('owl.yaml'));
  });

  test('of several parts is put together in their order', async () => {
    await open();
    // A drawing of 120 kB: three parts.
    const shapes = Array.from({ length: 3000 }, (_, i) => `<rect x="${i}" width="1" height="1"/>`);
    const svg = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 3 2">${shapes.join('')}</svg>`;
    const { file } = await send('plan.svg', Buffer.from(svg));
    const text = await fs.readFile(join(rig.folder, file), 'utf8');
    expect([...text.matchAll(/<rect x="(\d+)"/g)].map(([, x]) => Number(x))).toEqual(
      shapes.map((_, i) => i),
    );
  });

  test.each([
    '../x.png',
    '/etc/x.png',
    'a/b.png',
    '..\\x.png',
    '.owl.png',
    'owl.yaml',
    'owl',
    'owl.png\0.yaml',
    'owl\n.png',
    '.png',
  ])('is refused under the name %j', async (name) => {
    await open();
    const { error } = await refusal(begin(name, 100));
    expect(error.data.code).toBe('picture.bad-name');
    expect(error.data.reason).toMatch(
      /give one without a folder that ends in \.png, \.jpg or \.svg/,
    );
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test('is refused when it has 6 MB, before anything is sent', async () => {
    await open();
    const { error } = await refusal(begin('owl.png', 6 * 1024 * 1024));
    expect(error.data).toMatchObject({ code: 'picture.too-large', limitBytes: 5 * 1024 * 1024 });
  });

  test('with a script is refused, and nothing is written', async () => {
    await open();
    const svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><script/></svg>';
    expect(await codeOf(send('owl.svg', Buffer.from(svg)))).toBe('picture.unsafe');
    expect(await rig.files()).toEqual(['owl.yaml']);
    // The next one may begin.
    expect((await send('owl.png', PNG_WITH_NOTES)).file).toBe('owl.png');
  });

  test('goes one at a time: two at once are refused, whoever sends them', async () => {
    await open();
    const { upload } = await begin('owl.png', PNG_WITH_NOTES.length);
    expect(await codeOf(begin('other.png', 100))).toBe('picture.busy');
    expect(await codeOf(begin('other.png', 100, 's2'))).toBe('picture.busy');
    // Nobody else can add to it, end it or cancel it.
    expect(await codeOf(part(upload, 0, PNG_WITH_NOTES, 's2'))).toBe('picture.no-upload');
    expect(await codeOf(end(upload, 's2'))).toBe('picture.no-upload');
    expect(await rig.question('picture.cancel', {}, 's2')).toEqual({ cancelled: false });
    await part(upload, 0, PNG_WITH_NOTES);
    expect((await end(upload)).file).toBe('owl.png');
    expect(await codeOf(end(upload))).toBe('picture.no-upload');
    await begin('owl.png', 100);
    expect(await rig.question('picture.cancel')).toEqual({ cancelled: true });
    await begin('owl.png', 100, 's2');
  });

  test('that is cut is not kept: the session goes, pauses, or takes too long', async () => {
    await open();
    const { upload } = await begin('owl.png', PNG_WITH_NOTES.length);
    await part(upload, 0, PNG_WITH_NOTES.subarray(0, 100));
    const { error } = await refusal(end(upload));
    expect(error.data).toMatchObject({ code: 'picture.wrong-part', received: 100 });
    rig.service.gone('s1');
    expect(await codeOf(part(upload, 100, PNG_WITH_NOTES.subarray(100)))).toBe('picture.no-upload');

    const paused = await begin('owl.png', 1000, 's2');
    await part(paused.upload, 0, Buffer.alloc(10), 's2');
    await rig.pass(31_000);
    expect(await codeOf(part(paused.upload, 10, Buffer.alloc(10), 's2'))).toBe('picture.no-upload');

    const slow = await begin('owl.png', 1000, 's3');
    for (let at = 0; at < 14; at++) {
      await rig.pass(22_000);
      if (at < 13) await part(slow.upload, at, Buffer.alloc(1), 's3');
    }
    expect(await codeOf(part(slow.upload, 13, Buffer.alloc(1), 's3'))).toBe('picture.no-upload');
    expect(await rig.files()).toEqual(['owl.yaml']);
  });

  test('takes no part twice, out of order, too long, or that is not base64', async () => {
    await open();
    const { upload, partBytes } = await begin('owl.png', 100_000);
    await part(upload, 0, Buffer.alloc(1000));
    for (const at of [0, 999, 1001])
      expect(await codeOf(part(upload, at, Buffer.alloc(10)))).toBe('picture.wrong-part');
    const wrong = ['', '!!!!', 'AAA', 'AA=A', Buffer.alloc(partBytes + 1).toString('base64')];
    for (const data of wrong)
      expect(await codeOf(rig.question('picture.part', { upload, at: 1000, data }))).toBe(
        'picture.wrong-part',
      );
    await part(upload, 1000, Buffer.alloc(partBytes));
    await part(upload, 1000 + partBytes, Buffer.alloc(partBytes));
    expect(await codeOf(part(upload, 1000 + 2 * partBytes, Buffer.alloc(9001)))).toBe(
      'picture.wrong-part',
    );
  });

  test.each(['ENOSPC', 'EROFS'])('onto a disk that says %s changes nothing', async (code) => {
    let fails = true;
    const fileSystem = {
      ...fs,
      open: (async (path: string, flags: string, mode?: number) => {
        const handle = await fs.open(path, flags, mode);
        if (!fails || !path.includes('.jpg')) return handle;
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
    const { error } = await refusal(send('owl.jpg', BASELINE));
    expect(error.data).toMatchObject({ code: 'picture.not-saved', errno: code });
    expect(error.data.reason).toMatch(/free some disk space|let the daemon's user write/);
    expect(await rig.files()).toEqual(['owl.yaml']);
    fails = false;
    expect((await send('owl.jpg', BASELINE)).file).toBe('owl.jpg');
  });

  test('under a name that many have is refused in the end', async () => {
    await open();
    for (let n = 1; n <= 30; n++)
      await fs.writeFile(join(rig.folder, n === 1 ? 'owl.jpg' : `owl-${n}.jpg`), 'other');
    expect(await codeOf(send('owl.jpg', BASELINE))).toBe('picture.too-many');
  });
});

describe('the picture in use', () => {
  const use = (file: string, places: object = { beak: [0.5, 0.4] }) =>
    rig.ask<Applied>((n) => ({
      t: 'apply',
      n,
      edits: [{ path: ['picture'], value: { file, places } }],
      version: rig.status.version,
      by: ME,
    }));

  test('comes into use at once, and is served under an address that cannot be worked out', async () => {
    await open();
    expect(await rig.question('picture.read')).toEqual({ places: {} });
    const { file } = await send('owl.jpg', GPS_ON_ITS_SIDE);
    expect(await use(file)).toMatchObject({ pending: false });
    const read: { address: string } = await rig.question('picture.read');
    expect(read).toMatchObject({ file, places: { beak: [0.5, 0.4] }, width: 16, height: 24 });
    expect(read.address).toMatch(/^\/picture\/[\w-]{43}$/);
    expect(rig.served).toHaveLength(1);
    expect(rig.served[0]).toMatchObject({ address: read.address, type: 'jpeg' });
    // Once, until another gateway asks.
    await rig.question('picture.read', {}, 's2');
    expect(rig.served).toHaveLength(1);
    rig.service.gatewayIsNew();
    expect(await rig.question('picture.read')).toEqual(read);
    expect(rig.served).toHaveLength(2);
    const before = rig;
    const again = await Rig.open({ folder: rig.folder });
    rig = again;
    const other: { address: string } = await again.question('picture.read');
    expect(other.address).not.toBe(read.address);
    await before.close();
  });

  test('that was put there by hand is made safe before anybody gets it', async () => {
    await open();
    await fs.writeFile(join(rig.folder, 'hand.jpg'), GPS_ON_ITS_SIDE);
    await use('hand.jpg');
    await rig.question('picture.read');
    expect(Buffer.from(rig.served[0]!.bytes).includes('A camera')).toBe(false);
    const svg = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><script/></svg>';
    await fs.writeFile(join(rig.folder, 'hand.jpg'), svg);
    const read: { problem: string } = await rig.question('picture.read');
    expect(read.problem).toMatch(/^hand\.jpg: the drawing is not taken: it has a script/);
    expect(rig.served).toHaveLength(1);
  });

  test('that is missing, a folder, too large or not a picture says so, and the places stay', async () => {
    await open();
    await use('gone.png');
    const problem = async () =>
      ((await rig.question('picture.read')) as { problem: string }).problem;
    expect(await rig.question('picture.read')).toMatchObject({ places: { beak: [0.5, 0.4] } });
    expect(await problem()).toMatch(/^gone\.png is not beside the prop file: put it there/);
    await fs.mkdir(join(rig.folder, 'gone.png'));
    expect(await problem()).toMatch(/cannot be read/);
    await fs.rmdir(join(rig.folder, 'gone.png'));
    await fs.writeFile(join(rig.folder, 'gone.png'), Buffer.alloc(6 * 1024 * 1024));
    expect(await problem()).toMatch(/has 6\.0 MB/);
    await fs.writeFile(join(rig.folder, 'gone.png'), 'hello');
    expect(await problem()).toMatch(/not a picture/);
  });

  test('with a place for a channel that is not there is refused', async () => {
    await open();
    const { error } = await refusal(use('owl.png', { beek: [0, 0] }));
    expect(error.data.reason).toMatch(
      /picture\.places\.beek: there is no channel beek; did you mean beak\?/,
    );
    for (const file of ['../owl.png', 'a/owl.png', 'owl.exe', '/owl.png'])
      expect((await refusal(use(file))).error.data.reason).toMatch(/not the name of a picture/);
    for (const place of [[0.5], [1.1, 0], [0, -1], 'left'])
      expect((await refusal(use('owl.png', { beak: place }))).error.data.code).toBe(
        'file.would-be-wrong',
      );
    expect(await rig.read()).toBe(OWLET);
    expect(rig.status.version).toBe(versionOf(OWLET));
  });
});
