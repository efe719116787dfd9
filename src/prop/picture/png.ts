import type { SafePicture } from './safe-picture.ts';
import { checkSize, damaged } from './size.ts';

/** PNG, third edition (W3C, 2025). */

const SIGNATURE = [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a];

/** Chunks that are kept: what it looks like. Text, places, times and profiles are left out. */
const KEPT = new Set(['IHDR', 'PLTE', 'tRNS', 'gAMA', 'cHRM', 'sRGB', 'IDAT', 'IEND']);

/** Bit depths by colour type (11.2.1, table 11.1). */
const DEPTHS: Record<number, readonly number[]> = {
  0: [1, 2, 4, 8, 16],
  2: [8, 16],
  3: [1, 2, 4, 8],
  4: [8, 16],
  6: [8, 16],
};
const PALETTE = 3;

/** Whether the bytes begin as a PNG does. */
export function isPng(bytes: Uint8Array): boolean {
  return SIGNATURE.every((byte, i) => bytes[i] === byte);
}

/** @throws Refusal `picture.damaged`, `picture.too-many-pixels` */
export function safePng(bytes: Uint8Array): SafePicture {
  const data = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const kept: Uint8Array[] = [bytes.subarray(0, SIGNATURE.length)];
  const leftOut = new Set<string>();
  let size: { width: number; height: number; colour: number } | undefined;
  let hasPalette = false;
  let hasData = false;
  let last = '';
  for (let at = SIGNATURE.length; last !== 'IEND'; ) {
    if (at + 12 > bytes.length) throw damaged('its end is missing');
    const length = data.getUint32(at);
    if (length > bytes.length - at - 12) throw damaged('its end is missing');
    const type = String.fromCharCode(...bytes.subarray(at + 4, at + 8));
    const end = at + 12 + length;
    // 5.3: the CRC is over type and data.
    if (crc32(bytes, at + 4, end - 4) !== data.getUint32(end - 4))
      throw damaged('a part of it is not as it was written');
    if (!size) {
      if (type !== 'IHDR' || length !== 13) throw damaged('its head is missing');
      size = head(data, at + 8);
    } else if (type === 'IHDR') throw damaged('it has two heads');
    // 5.6: the image data stands together.
    if (type === 'IDAT') {
      if (hasData && last !== 'IDAT') throw damaged('its data is torn');
      if (size.colour === PALETTE && !hasPalette) throw damaged('its colours are missing');
      hasData = true;
    }
    if (type === 'PLTE') {
      if (hasPalette || length % 3 !== 0 || length > 768 || length === 0)
        throw damaged('its colours are wrong');
      hasPalette = true;
    }
    if (KEPT.has(type)) kept.push(bytes.subarray(at, end));
    // 5.4: a first letter in upper case is something that must be understood.
    else if (/^[A-Z]/.test(type)) throw damaged(`it has a part ${JSON.stringify(type)}`);
    else leftOut.add(type);
    last = type;
    at = end;
  }
  if (!hasData) throw damaged('it has no image data');
  const { width, height } = size!;
  const notes: string[] = [];
  if (leftOut.has('acTL')) notes.push('its movement');
  if ([...leftOut].some((type) => /^(?:eXIf|tEXt|zTXt|iTXt|tIME)$/.test(type)))
    notes.push('notes such as where and when it was made');
  return { type: 'png', bytes: Buffer.concat(kept), width, height, leftOut: notes };
}

function head(data: DataView, at: number) {
  const [width, height] = [data.getUint32(at), data.getUint32(at + 4)];
  const [depth, colour] = [data.getUint8(at + 8), data.getUint8(at + 9)];
  if (!DEPTHS[colour]?.includes(depth)) throw damaged('its colours are wrong');
  if (data.getUint8(at + 10) !== 0 || data.getUint8(at + 11) !== 0 || data.getUint8(at + 12) > 1)
    throw damaged('its head is wrong');
  checkSize(width, height);
  return { width, height, colour };
}

/** Annex D: sample code for the CRC. Node has one of its own only from 20.15 on. */
const TABLE = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k++) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c >>> 0;
});

function crc32(bytes: Uint8Array, from: number, to: number): number {
  let c = 0xffffffff;
  for (let i = from; i < to; i++) c = TABLE[(c ^ bytes[i]!) & 0xff]! ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
}
