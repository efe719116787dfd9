import { statSync } from 'node:fs';
import { MAX_SOUND_S } from './limits.ts';
import { readSoundSync, soundProblem } from './read-sound.ts';
import { SAVE, SoundError, tooLong } from './sound-error.ts';
import { isWav, wavHead } from './wav.ts';

/** How long a sound file takes, by its headers alone: nothing is decoded. */

const ascii = (bytes: Buffer, at: number, text: string) =>
  bytes.toString('latin1', at, at + text.length) === text;

/** What the header of a sound file says, or why it cannot be played. */
export type SoundHead = { durationS: number } | { wrong: string; right: string };

/** Files that were read last, by their paths: a text is checked many times. */
const known = new Map<string, { stamp: string; head: SoundHead }>();
const MAX_KNOWN = 200;

/** Reads the header of a file. Never throws. */
export function soundHead(path: string): SoundHead {
  try {
    const { size, mtimeMs, ino } = statSync(path);
    const stamp = `${size} ${mtimeMs} ${ino}`;
    const kept = known.get(path);
    if (kept?.stamp === stamp) return kept.head;
    const head = headOf(path);
    if (known.size >= MAX_KNOWN) known.clear();
    known.set(path, { stamp, head });
    return head;
  } catch (error) {
    return soundProblem(error as Error);
  }
}

function headOf(path: string): SoundHead {
  try {
    const durationS = lengthS(readSoundSync(path));
    if (durationS === undefined) throw new SoundError('it is not a sound of a known kind', SAVE);
    if (durationS > MAX_SOUND_S) throw tooLong();
    return { durationS };
  } catch (error) {
    if (error instanceof SoundError) return soundProblem(error);
    throw error;
  }
}

/** Length (s) of the file with this content. @throws SoundError for a WAV file that cannot be played */
export function lengthS(given: Uint8Array): number | undefined {
  const bytes = Buffer.from(given.buffer, given.byteOffset, given.byteLength);
  const found = isWav(bytes)
    ? wavHead(bytes).durationS
    : ascii(bytes, 0, 'fLaC')
      ? ofFlac(bytes)
      : ascii(bytes, 0, 'OggS')
        ? ofOgg(bytes)
        : ofMp3(bytes);
  return found !== undefined && Number.isFinite(found) && found >= 0 ? found : undefined;
}

/** STREAMINFO (RFC 9639, 8.2): 20 bits of sample rate, and 36 bits of samples after 8 more. */
function ofFlac(bytes: Buffer): number | undefined {
  if (bytes.length < 26) return undefined;
  const rateHz = bytes.readUIntBE(18, 3) >> 4;
  const samples = (bytes[21]! & 0x0f) * 2 ** 32 + bytes.readUInt32BE(22);
  return samples / rateHz;
}

/** The granule position of the last page (RFC 3533, 6), by the rate of the Vorbis header. */
function ofOgg(bytes: Buffer): number | undefined {
  const header = bytes.indexOf('\x01vorbis', 0, 'latin1');
  const last = bytes.lastIndexOf('OggS', undefined, 'latin1');
  if (header < 0 || header + 16 > bytes.length || last + 14 > bytes.length) return undefined;
  return Number(bytes.readBigInt64LE(last + 6)) / bytes.readUInt32LE(header + 12);
}

/** Bit rates of layer III (kbit/s), of MPEG 1 and of MPEG 2: ISO/IEC 11172-3 and 13818-3, from memory. */
const KBITS = [
  [0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320],
  [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160],
] as const;
const RATES_HZ = [44_100, 48_000, 32_000];

/** Frame by frame. */
function ofMp3(bytes: Buffer): number | undefined {
  let at = 0;
  if (ascii(bytes, 0, 'ID3') && bytes.length > 10) {
    // The size of the tag has 7 bits in each byte (ID3v2.3, 3.1).
    const [a, b, c, d] = bytes.subarray(6, 10) as unknown as [number, number, number, number];
    at = 10 + ((a & 127) * 2 ** 21 + (b & 127) * 2 ** 14 + (c & 127) * 128 + (d & 127));
  }
  let seconds = 0;
  let first = true;
  while (at + 4 <= bytes.length) {
    const frame = mp3Frame(bytes, at);
    if (!frame) {
      if (seconds > 0 || at > bytes.length / 2) break;
      at++;
      continue;
    }
    // A first frame with a table of contents has no sound.
    const within = bytes.toString('latin1', at, at + Math.min(frame.size, 48));
    const tells = first && (within.includes('Xing') || within.includes('Info'));
    first = false;
    if (!tells) seconds += frame.seconds;
    at += frame.size;
  }
  return seconds > 0 ? seconds : undefined;
}

function mp3Frame(bytes: Buffer, at: number): { size: number; seconds: number } | undefined {
  const header = bytes.readUInt32BE(at);
  const version = (header >>> 19) & 3;
  const layer3 = ((header >>> 17) & 3) === 1;
  if (header >>> 21 !== 0x7ff || version === 1 || !layer3) return undefined;
  const mpeg1 = version === 3;
  const kbits = KBITS[mpeg1 ? 0 : 1][(header >>> 12) & 15];
  const baseHz = RATES_HZ[(header >>> 10) & 3];
  if (!kbits || !baseHz) return undefined;
  const rateHz = baseHz / (mpeg1 ? 1 : version === 2 ? 2 : 4);
  const samples = mpeg1 ? 1152 : 576;
  const padding = (header >>> 9) & 1;
  return {
    size: Math.floor((samples / 8) * ((kbits * 1000) / rateHz)) + padding,
    seconds: samples / rateHz,
  };
}
