import { decode } from 'jpeg-js';
import { PNG } from 'pngjs';
import { describe, expect, test } from 'vitest';
import { safePicture } from '../../../src/prop/picture/picture.ts';
import type { Refusal } from '../../../src/shared/errors.ts';
import { BASELINE, GPS_ON_ITS_SIDE, PNG_WITH_NOTES, PROGRESSIVE } from './pictures.ts';

/** What other programs see in a picture: pngjs and jpeg-js. */
const pixels = (bytes: Uint8Array) =>
  bytes[0] === 0xff
    ? Buffer.from(decode(bytes, { useTArray: true }).data)
    : PNG.sync.read(Buffer.from(bytes)).data;

const refused = async (bytes: Uint8Array): Promise<Refusal> =>
  safePicture(bytes).then(
    () => expect.unreachable('it was taken'),
    (error) => error as Refusal,
  );

describe.each([
  ['a baseline JPEG', BASELINE],
  ['a progressive JPEG', PROGRESSIVE],
  ['a JPEG with notes, on its side', GPS_ON_ITS_SIDE],
  ['a PNG with notes', PNG_WITH_NOTES],
])('%s', (_what, bytes) => {
  test('has the same pixels, and takes nothing else along', async () => {
    const safe = await safePicture(bytes);
    expect(pixels(safe.bytes)).toEqual(pixels(bytes));
    for (const secret of ['taken at home', 'A camera', Buffer.from([0x88, 0x25, 0, 4])])
      expect(Buffer.from(safe.bytes).includes(secret)).toBe(false);
    // What is safe stays as it is.
    expect((await safePicture(safe.bytes)).bytes).toEqual(safe.bytes);
  });

  test('cut anywhere is refused', async () => {
    for (let at = 9; at < bytes.length - 1; at += 7) {
      const cut = await refused(bytes.subarray(0, at));
      expect(cut.word).toBe('picture.damaged');
      expect(cut.message).toMatch(/save it again/);
    }
  });

  test('with any byte changed is refused, or still a whole picture', async () => {
    for (let at = 0; at < bytes.length; at++) {
      const other = Buffer.from(bytes);
      other[at]! ^= 0x55;
      const outcome = await safePicture(other).catch((error: Refusal) => error.word);
      if (typeof outcome === 'string') expect(outcome).toMatch(/^picture\./);
      else {
        expect(outcome.bytes.length).toBeLessThanOrEqual(other.length + 60);
        expect((await safePicture(outcome.bytes)).bytes).toEqual(outcome.bytes);
      }
    }
  });
});

test('the notes were there before', () => {
  // Exif 2.3, 4.6.3: the pointer to the place where it was taken is tag 0x8825.
  expect(GPS_ON_ITS_SIDE.includes(Buffer.from([0x88, 0x25]))).toBe(true);
  for (const note of ['taken at home', 'A camera'])
    expect(GPS_ON_ITS_SIDE.includes(note)).toBe(true);
  expect(PNG_WITH_NOTES.includes('taken at home')).toBe(true);
});

test('which way up a photo is stays with it, and counts for its size', async () => {
  const safe = await safePicture(GPS_ON_ITS_SIDE);
  expect([safe.width, safe.height]).toEqual([16, 24]);
  expect(safe.leftOut).toContain('notes such as where and when it was made');
  // Exif 2.3, 4.6.4: tag 0x0112, SHORT, one value: 6.
  expect(Buffer.from(safe.bytes).includes(Buffer.from('011200030000000100060000', 'hex'))).toBe(
    true,
  );
  expect(await safePicture(BASELINE)).toMatchObject({ width: 24, height: 16 });
});

test('what follows the end of a photo is left out', async () => {
  const safe = await safePicture(Buffer.concat([BASELINE, Buffer.from('a film with its place')]));
  expect(Buffer.from(safe.bytes).includes('a film')).toBe(false);
});

test.each([
  [60_000, 60_000],
  [10_001, 10],
  [10_000, 10_000],
])('a picture of %i x %i pixels is refused, however small its file', async (width, height) => {
  const png = Buffer.from(PNG_WITH_NOTES);
  png.writeUInt32BE(width, 16);
  png.writeUInt32BE(height, 20);
  png.writeUInt32BE(crcOf(png.subarray(12, 29)), 29);
  const { word, message, values } = await refused(png);
  expect(word).toBe('picture.too-many-pixels');
  expect(message).toMatch(/make it smaller/i);
  expect(values).toMatchObject({ width, height });
});

test('a JPEG of 60,000 x 60,000 pixels is refused', async () => {
  const jpeg = Buffer.from(BASELINE);
  const at = jpeg.indexOf(Buffer.from([0xff, 0xc0]));
  jpeg.writeUInt16BE(60_000, at + 5);
  jpeg.writeUInt16BE(60_000, at + 7);
  expect((await refused(jpeg)).word).toBe('picture.too-many-pixels');
});

test.each([
  ['text', Buffer.from('hello, I am not a picture')],
  ['a page', Buffer.from('<html><body>hello</body></html>')],
  ['another kind of picture', Buffer.from('GIF89a......')],
  ['a packed drawing', Buffer.from([0x1f, 0x8b, 8, 0, 0, 0, 0, 0])],
])('%s is refused, whatever it is called', async (_what, bytes) => {
  const { word, message } = await refused(bytes);
  expect(word).toBe('picture.not-a-picture');
  expect(message).toMatch(/save it as PNG, JPEG or plain SVG/);
});

test('more than 5 MB are refused', async () => {
  const { word, message } = await refused(Buffer.alloc(6 * 1024 * 1024));
  expect(word).toBe('picture.too-large');
  expect(message).toMatch(/has 6\.0 MB, and at most 5 are kept; make it smaller/);
});

/** PNG, annex D, bit by bit. */
function crcOf(bytes: Uint8Array): number {
  let c = 0xffffffff;
  for (const byte of bytes) {
    c ^= byte;
    for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  }
  return (c ^ 0xffffffff) >>> 0;
}
