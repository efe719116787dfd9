import type { SafePicture } from './safe-picture.ts';
import { checkSize, damaged } from './size.ts';

/** JPEG (ITU-T T.81), its file format JFIF (ITU-T T.871), and the orientation of Exif 2.3 (4.6.4). */

const SOI = 0xd8;
const EOI = 0xd9;
const SOS = 0xda;
const APP0 = 0xe0;
const APP1 = 0xe1;
const APP14 = 0xee;
/** Baseline, extended and progressive: what browsers show (T.81, table B.1). */
const FRAMES = new Set([0xc0, 0xc1, 0xc2]);
/** Every other start of a frame: lossless, arithmetic, hierarchical. */
const OTHER_FRAMES = new Set([
  0xc3, 0xc5, 0xc6, 0xc7, 0xc8, 0xc9, 0xca, 0xcb, 0xcd, 0xce, 0xcf, 0xde, 0xdf,
]);
/** Tables of Huffman codes and quantisation, and the restart interval. */
const TABLES = new Set([0xc4, 0xdb, 0xdd]);

/** A picture of many scans takes long to show for its size; usual ones have about ten. */
const MAX_SCANS = 100;

/** Whether the bytes begin as a JPEG does. */
export function isJpeg(bytes: Uint8Array): boolean {
  return bytes[0] === 0xff && bytes[1] === SOI && bytes[2] === 0xff;
}

/**
 * Keeps what makes the picture, and of what cameras write about it only which way up it is. What follows
 * its end (a second picture, a film) is left out.
 * @throws Refusal `picture.damaged`, `picture.too-many-pixels`
 */
export function safeJpeg(bytes: Uint8Array): SafePicture {
  const kept: Uint8Array[] = [];
  const leftOut = new Set<string>();
  let jfif: Uint8Array | undefined;
  let orientation = 1;
  let size: { width: number; height: number } | undefined;
  let scans = 0;
  let at = 2;
  for (;;) {
    if (bytes[at] !== 0xff) throw damaged(at >= bytes.length ? 'its end is missing' : 'it is torn');
    // B.1.1.2: a marker may have fill bytes before it.
    while (bytes[at] === 0xff) at++;
    const marker = bytes[at++];
    if (marker === undefined) throw damaged('its end is missing');
    if (marker === EOI) break;
    const length = (bytes[at]! << 8) | bytes[at + 1]!;
    const end = at + length;
    if (!(length >= 2) || end > bytes.length) throw damaged('its end is missing');
    const body = bytes.subarray(at + 2, end);
    const segment = () => Buffer.concat([Buffer.from([0xff, marker]), bytes.subarray(at, end)]);
    if (FRAMES.has(marker)) {
      if (size || body.length < 6) throw damaged('its head is wrong');
      const height = (body[1]! << 8) | body[2]!;
      const width = (body[3]! << 8) | body[4]!;
      checkSize(width, height);
      size = { width, height };
      kept.push(segment());
    } else if (OTHER_FRAMES.has(marker)) throw damaged('no browser shows this kind of JPEG');
    else if (TABLES.has(marker)) kept.push(segment());
    else if (marker === SOS) {
      if (!size) throw damaged('its head is missing');
      if (++scans > MAX_SCANS) throw damaged(`it has more than ${MAX_SCANS} scans`);
      const next = endOfScan(bytes, end);
      kept.push(segment(), bytes.subarray(end, next));
      at = next;
      continue;
    } else if (marker === APP0 && startsWith(body, 'JFIF\0')) jfif ??= body.slice(0, 12);
    else if (marker === APP14 && startsWith(body, 'Adobe')) kept.push(segment());
    else if (marker === APP1 && startsWith(body, 'Exif\0\0')) {
      orientation = orientationIn(body.subarray(6)) ?? orientation;
      leftOut.add('notes such as where and when it was made');
    } else if (marker >= APP0 || marker === 0xfe) leftOut.add('notes of its maker');
    else throw damaged('it is torn');
    at = end;
  }
  if (!size || scans === 0) throw damaged('it has no image data');
  const start: Uint8Array[] = [Buffer.from([0xff, SOI])];
  if (jfif && jfif.length === 12)
    // Without the small picture within (T.871, 10.1).
    start.push(Buffer.from([0xff, APP0, 0, 16]), Buffer.from(jfif), Buffer.from([0, 0]));
  if (orientation !== 1) start.push(exifOf(orientation));
  const safe = Buffer.concat([...start, ...kept, Buffer.from([0xff, EOI])]);
  // 5 to 8 lie on their side.
  const { width, height } = size;
  const [w, h] = orientation >= 5 ? [height, width] : [width, height];
  return { type: 'jpeg', bytes: safe, width: w, height: h, leftOut: [...leftOut] };
}

/** Where the entropy-coded data of a scan ends: at a marker that is neither stuffing nor a restart. */
function endOfScan(bytes: Uint8Array, from: number): number {
  for (let at = from; ; at += 2) {
    at = bytes.indexOf(0xff, at);
    if (at < 0 || at + 1 >= bytes.length) throw damaged('its end is missing');
    const next = bytes[at + 1]!;
    if (next === 0xff) at--;
    else if (next !== 0 && !(next >= 0xd0 && next <= 0xd7)) return at;
  }
}

function startsWith(bytes: Uint8Array, text: string): boolean {
  return Buffer.from(bytes.subarray(0, text.length)).toString('latin1') === text;
}

/** Tag 0x0112 of the first directory of a TIFF (TIFF 6.0, section 2), 1 to 8; undefined without one. */
function orientationIn(tiff: Uint8Array): number | undefined {
  if (tiff.length < 8) return undefined;
  const data = new DataView(tiff.buffer, tiff.byteOffset, tiff.byteLength);
  const little = data.getUint16(0) === 0x4949;
  const directory = data.getUint32(4, little);
  if (directory + 2 > tiff.length) return undefined;
  const count = data.getUint16(directory, little);
  for (let i = 0; i < count; i++) {
    const at = directory + 2 + 12 * i;
    if (at + 12 > tiff.length) return undefined;
    if (data.getUint16(at, little) !== 0x0112) continue;
    const value = data.getUint16(at + 8, little);
    return value >= 1 && value <= 8 ? value : undefined;
  }
  return undefined;
}

/** An Exif segment that says only which way up the picture is. */
function exifOf(orientation: number): Buffer {
  const tiff = Buffer.from('4d4d002a00000008000101120003000000010000000000000000', 'hex');
  tiff.writeUInt16BE(orientation, 18);
  const body = Buffer.concat([Buffer.from('Exif\0\0', 'latin1'), tiff]);
  const head = Buffer.from([0xff, APP1, 0, 0]);
  head.writeUInt16BE(body.length + 2, 2);
  return Buffer.concat([head, body]);
}
