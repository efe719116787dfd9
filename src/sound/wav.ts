import { MAX_HZ, MAX_SOUND_S, MIN_HZ } from './limits.ts';
import { SAVE, SoundError, tooLong } from './sound-error.ts';

/**
 * The header of a WAV file, checked before anything is decoded: a decoder believes it, and a wrong one
 * could have it fill the memory, or take other parts of the file for sound.
 * Layout: Microsoft's Multimedia Programming Interface and Data Specifications 1.0 (RIFF), and
 * WAVEFORMATEXTENSIBLE of its Multiple Channel Audio Data and WAVE Files.
 */

const PCM = 1;
const FLOAT = 3;
const EXTENSIBLE = 0xfffe;
/** What follows the format's number in the id of an extensible format. */
const EXTENSIBLE_ID = Buffer.from('000000001000800000aa00389b71', 'hex');
/** Bits of a sample that are decoded, by format. */
const BITS: Readonly<Record<number, readonly number[]>> = {
  [PCM]: [8, 16, 24, 32],
  [FLOAT]: [32, 64],
};
/** A writer that did not know the length left one of these. */
const STREAMED = [0, 0xffff_ffff];

export interface WavHead {
  format: number;
  channels: number;
  rateHz: number;
  bits: number;
  /** Bytes of one sample of all channels. */
  frameBytes: number;
  /** Where the sound begins, and its bytes: whole frames. */
  at: number;
  bytes: number;
  durationS: number;
}

/** Whether the bytes begin as a WAV file does. */
export function isWav(bytes: Uint8Array): boolean {
  const text = (at: number) => String.fromCharCode(...bytes.subarray(at, at + 4));
  return text(0) === 'RIFF' && text(8) === 'WAVE';
}

/** Reads the header. @throws SoundError where it is no sound that can be played */
export function wavHead(bytes: Uint8Array): WavHead {
  const file = Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  let head: Omit<WavHead, 'at' | 'bytes' | 'durationS'> | undefined;
  for (let at = 12; at + 8 <= file.length; ) {
    const id = file.toString('latin1', at, at + 4);
    const size = file.readUInt32LE(at + 4);
    if (id === 'fmt ' && !head) head = formatOf(file, at + 8, size);
    if (id === 'data') {
      if (!head) throw new SoundError('its header has no format (WAV)', SAVE);
      const sound = soundBytes(file, at + 8, size);
      const frames = Math.floor(sound / head.frameBytes);
      const durationS = frames / head.rateHz;
      if (durationS > MAX_SOUND_S) throw tooLong();
      return { ...head, at: at + 8, bytes: frames * head.frameBytes, durationS };
    }
    at += 8 + size + (size % 2);
  }
  throw new SoundError('it has no sound in it (WAV)', SAVE);
}

/** The same sound with a plain header, in which nothing is left to be believed. */
export function plainWav(bytes: Uint8Array): Uint8Array {
  const head = wavHead(bytes);
  const plain = Buffer.alloc(44 + head.bytes);
  plain.write('RIFF', 0, 'latin1');
  plain.writeUInt32LE(36 + head.bytes, 4);
  plain.write('WAVEfmt ', 8, 'latin1');
  plain.writeUInt32LE(16, 16);
  plain.writeUInt16LE(head.format, 20);
  plain.writeUInt16LE(head.channels, 22);
  plain.writeUInt32LE(head.rateHz, 24);
  plain.writeUInt32LE(head.rateHz * head.frameBytes, 28);
  plain.writeUInt16LE(head.frameBytes, 32);
  plain.writeUInt16LE(head.bits, 34);
  plain.write('data', 36, 'latin1');
  plain.writeUInt32LE(head.bytes, 40);
  plain.set(bytes.subarray(head.at, head.at + head.bytes), 44);
  return plain;
}

function formatOf(file: Buffer, at: number, size: number) {
  const rare = new SoundError(
    'it is a WAV file of a rare kind, or its header is damaged',
    'save it as plain PCM with 16 or 24 bits',
  );
  if (size < 16 || at + size > file.length) throw rare;
  let format = file.readUInt16LE(at);
  const channels = file.readUInt16LE(at + 2);
  const rateHz = file.readUInt32LE(at + 4);
  const frameBytes = file.readUInt16LE(at + 12);
  const bits = file.readUInt16LE(at + 14);
  if (format === EXTENSIBLE) {
    if (size < 40 || !file.subarray(at + 26, at + 40).equals(EXTENSIBLE_ID)) throw rare;
    format = file.readUInt16LE(at + 24);
  }
  mustBePlayable(channels, rateHz);
  if (!BITS[format]?.includes(bits) || frameBytes !== (channels * bits) / 8) throw rare;
  return { format, channels, rateHz, bits, frameBytes };
}

/** @throws SoundError for channels and a rate (Hz) that cannot be played */
export function mustBePlayable(channels: number, rateHz: number): void {
  if (channels < 1 || channels > 2)
    throw new SoundError(`it has ${channels} channels`, 'save it with one channel, or with two');
  if (!(rateHz >= MIN_HZ && rateHz <= MAX_HZ))
    throw new SoundError(`it has ${rateHz} samples a second`, 'save it with 44100 or 48000');
}

/** How many bytes belong to the sound: of a file that was cut off, what is there. */
function soundBytes(file: Buffer, at: number, size: number): number {
  const left = file.length - at;
  // An empty sound may be followed by notes, which are not heard.
  if (size === 0 && isChunks(file, at)) return 0;
  return STREAMED.includes(size) ? left : Math.min(size, left);
}

/** Whether all that follows is chunks, to the end of the file. */
function isChunks(file: Buffer, from: number): boolean {
  let at = from;
  while (at + 8 <= file.length) {
    if (!/^[ -~]{4}$/.test(file.toString('latin1', at, at + 4))) return false;
    const size = file.readUInt32LE(at + 4);
    at += 8 + size + (size % 2);
  }
  // The last one may lack its padding.
  return at === file.length || at === file.length + 1;
}
