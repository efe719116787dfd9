import { unzipSync, type Zippable, zipSync } from 'fflate';
import { expect, test } from 'vitest';
import { pack, unpack } from '../../src/backup/archive.ts';
import { besideLimit, filesNamed, sizeLimit } from '../../src/backup/names.ts';
import { Refusal } from '../../src/shared/errors.ts';

const ABOUT = { program: '0.1.0', prop: 'Foyer owl', version: '0123456789abcdef' };
const text = (content: string) => new Uint8Array(Buffer.from(content));
const FILES = [
  { name: 'prop.yaml', bytes: text('sinew: 1\n') },
  { name: 'versions/1.yaml', bytes: text('sinew: 1 # old\n'), time: '2026-05-04T03:02:01.123Z' },
  { name: 'beside/wave.take', bytes: text('sinew take 1\n') },
  { name: 'beside/hoot 2.wav', bytes: new Uint8Array(100_000).fill(7) },
  { name: 'beside/nothing.ogg', bytes: new Uint8Array() },
];

function refusal(archive: Uint8Array): string {
  try {
    unpack(archive);
  } catch (error) {
    if (error instanceof Refusal && error.word === 'backup.unusable') return error.message;
    throw error;
  }
  throw new Error('it was not refused');
}

/** An archive of these files whose list names just the prop file, and is right about it. */
function forged(files: Zippable, change: (list: Record<string, unknown>) => void = () => {}) {
  const list = JSON.parse(
    Buffer.from(
      unzipped(pack([FILES[0]!], ABOUT)).get('sinew-backup.json') ?? new Uint8Array(),
    ).toString(),
  );
  change(list);
  const own = { 'sinew-backup.json': text(JSON.stringify(list)), 'prop.yaml': FILES[0]!.bytes };
  return zipSync({ ...own, ...files });
}

/** The files of an archive that are stored or deflated by our own writer, by the format's own reader. */
function unzipped(archive: Uint8Array): Map<string, Uint8Array> {
  return new Map(Object.entries(unzipSync(archive)));
}

test('what is packed is unpacked, with its times', () => {
  const { about, files } = unpack(pack(FILES, ABOUT));
  expect(about).toEqual(ABOUT);
  const byName = FILES.toSorted((a, b) => (a.name < b.name ? -1 : 1));
  expect(files.map(({ name }) => name)).toEqual(byName.map(({ name }) => name));
  for (const [i, { bytes, time }] of files.entries()) {
    expect(Buffer.from(bytes).equals(byName[i]!.bytes)).toBe(true);
    expect(time).toBe(byName[i]!.time);
  }
});

test('the same content gives the same bytes, in any order, time zone and at any time', () => {
  const zone = process.env.TZ;
  try {
    process.env.TZ = 'Pacific/Auckland';
    const there = pack(FILES, ABOUT);
    process.env.TZ = 'America/Lima';
    const here = pack(FILES.toReversed(), ABOUT);
    expect(Buffer.from(here).equals(there)).toBe(true);
  } finally {
    if (zone === undefined) delete process.env.TZ;
    else process.env.TZ = zone;
  }
});

test('a path, a folder or a strange name is not read', () => {
  const names = [
    ...['../prop.yaml', '/etc/passwd', 'beside/../../x.take', 'beside/a/b.take', 'beside/.x.take'],
    ...['beside/x.sh', 'beside\\x.take', 'state/daemon.lock', 'state/../x', 'versions/0.yaml'],
    ...['state/journal/../x.log', 'state/journal/1.log', 'state/journal/000001.log/x'],
    ...['versions/100.yaml', 'beside/x.take\u0000.png', 'state/token', '', 'beside/', 'PROP.yaml'],
    'beside/\u001b[2Jx.take',
  ];
  for (const name of names) {
    expect(sizeLimit(name), name).toBeUndefined();
    const said = refusal(forged({ [name]: text('x') }));
    expect(said).toContain('a file that no backup has');
    expect(said).not.toContain('\u001b');
  }
});

test('a bomb is noticed before it is large, whatever its header says of its size', () => {
  const zeros = new Uint8Array(40_000_000);
  const bomb = forged({ 'beside/wave.take': zeros });
  expect(bomb.length).toBeLessThan(60_000);
  expect(refusal(bomb)).toContain('too large');
  // The size that the local header gives is at byte 22 of it: APPNOTE.TXT 6.3.10, 4.3.7.
  const at = Buffer.from(bomb).indexOf('beside/wave.take') - 30;
  expect(Buffer.from(bomb).readUInt32LE(at)).toBe(0x04034b50);
  const lying = Buffer.from(bomb);
  lying.writeUInt32LE(10, at + 22);
  const before = process.memoryUsage().arrayBuffers;
  expect(refusal(lying)).toContain('too large');
  expect(process.memoryUsage().arrayBuffers - before).toBeLessThan(40_000_000);
});

test('many small files are too many, and a name is there once', () => {
  const many = Object.fromEntries(
    Array.from({ length: 700 }, (_, i) => [`beside/t${i}.take`, new Uint8Array()]),
  );
  expect(refusal(forged(many))).toContain('too many');
  const twice = Buffer.from(forged({ 'beside/a.take': text('1'), 'beside/b.take': text('2') }));
  const at = twice.indexOf('beside/b.take');
  twice.write('beside/a.take', at);
  expect(refusal(twice)).toContain('twice');
});

test('what the list does not name, or names otherwise, is refused', () => {
  expect(refusal(forged({ 'beside/wave.take': text('x') }))).toContain('does not name');
  const list = (change: (files: Record<string, unknown>[]) => void) =>
    forged({}, (whole) => change(whole.files as Record<string, unknown>[]));
  expect(refusal(list((files) => files.push({ ...files[0], name: 'beside/a.take' })))).toContain(
    'beside/a.take is missing',
  );
  expect(refusal(list((files) => files.push(files[0]!)))).toContain('listed twice');
  expect(
    refusal(
      list((files) => {
        files[0]!.sha256 = '0'.repeat(64);
      }),
    ),
  ).toContain('damaged');
  expect(
    refusal(
      list((files) => {
        files[0]!.bytes = -1;
      }),
    ),
  ).toContain('not as "sinew backup" writes it');
});

test('a newer format is refused with its remedy; anything else is not a backup', () => {
  const newer = forged({}, (list) => {
    list.formatVersion = 2;
    list.program = '9.1.0';
    list.more = true;
  });
  expect(refusal(newer)).toContain(
    'written by a newer Sinew (9.1.0, format 2); install that version or a later one',
  );
  expect(refusal(text('not a zip'))).toContain('sinew-backup.json');
  expect(refusal(new Uint8Array())).toContain('sinew-backup.json');
  expect(refusal(zipSync({ 'prop.yaml': text('x') }))).toContain('sinew-backup.json');
});

test('cut off after any byte, or with a byte changed, it is refused or whole', () => {
  const whole = pack(FILES.slice(0, 3), ABOUT);
  const same = (archive: Uint8Array) => {
    try {
      const { files } = unpack(archive);
      return files.every(({ name, bytes }) =>
        Buffer.from(bytes).equals(FILES.find((one) => one.name === name)!.bytes),
      );
    } catch (error) {
      return error instanceof Refusal;
    }
  };
  for (let at = 0; at < whole.length; at++) {
    expect(same(whole.subarray(0, at)), `cut at ${at}`).toBe(true);
    const spoilt = whole.slice();
    spoilt[at]! ^= 0x55;
    expect(same(spoilt), `byte ${at}`).toBe(true);
  }
});

test('the files that a prop file names are found, and nothing else', () => {
  const raw = {
    takes: { wave: 'wave.take', evil: '../x.take' },
    sounds: { hoot: 'hoot.wav', low: { file: 'low.OGG' }, odd: 3 },
    picture: { file: 'owl.svg', places: {} },
  };
  expect(filesNamed(raw).sort()).toEqual(['hoot.wav', 'low.OGG', 'owl.svg', 'wave.take']);
  for (const odd of [null, undefined, [], 'x', { takes: null, sounds: [1], picture: '/etc/x.png' }])
    expect(filesNamed(odd)).toEqual([]);
  expect(besideLimit('wave.take')).toBe(1024 * 1024);
});
