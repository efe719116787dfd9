import { decoder as wavDecoder } from '@audio/decode-wav';
import { FLACDecoder } from '@wasm-audio-decoders/flac';
import { OggVorbisDecoder } from '@wasm-audio-decoders/ogg-vorbis';
import { MPEGDecoder } from 'mpg123-decoder';
import type { Samples } from '../sums/loudness.ts';
import { resample } from '../sums/resample.ts';
import { MAX_SOUND_BYTES, MAX_SOUND_S, PLAYED_HZ } from './limits.ts';

/**
 * Sound files, decoded whole: when they are loaded, in a thread for which that may take seconds, and never
 * when they play. The content says what a file is, not its name.
 */

/** What is wrong with a sound file, and what to do. */
export class SoundError extends Error {
  readonly right: string;

  constructor(wrong: string, right: string) {
    super(wrong);
    this.right = right;
  }
}

/** A decoded sound: one or two channels at `PLAYED_HZ`. */
export interface Sound extends Samples {
  durationS: number;
}

/** One piece of what a library has decoded. */
interface Piece {
  channelData: Float32Array[];
  sampleRate: number;
  errors?: readonly { message: string }[];
}

interface Decoder {
  ready?: Promise<void>;
  decode(bytes: Uint8Array): Piece | Promise<Piece>;
  flush?(): Piece | Promise<Piece>;
  free(): unknown;
}

interface Format {
  name: string;
  is(bytes: Uint8Array): boolean;
  /** Its decoder gives a single channel twice. */
  doubles?: true;
  make(bytes: Uint8Array): Decoder;
}

const starts = (bytes: Uint8Array, text: string, at = 0) =>
  [...text].every((letter, i) => bytes[at + i] === letter.charCodeAt(0));

const FORMATS: readonly Format[] = [
  {
    name: 'WAV',
    is: (bytes) => starts(bytes, 'RIFF') && starts(bytes, 'WAVE', 8),
    make: (bytes) => {
      mustBePlainWav(bytes);
      return wavDecoder();
    },
  },
  { name: 'FLAC', is: (bytes) => starts(bytes, 'fLaC'), make: () => new FLACDecoder() },
  { name: 'OGG', is: (bytes) => starts(bytes, 'OggS'), make: () => new OggVorbisDecoder() },
  {
    name: 'MP3',
    is: (bytes) => starts(bytes, 'ID3') || (bytes[0] === 0xff && (bytes[1]! & 0xe0) === 0xe0),
    doubles: true,
    make: () => new MPEGDecoder(),
  },
];

/** A file is handed to its decoder in parts, so that one that swells is noticed while it does (bytes). */
const PART = 64 * 1024;
const SAVE = 'save it again as WAV, FLAC, OGG (Vorbis) or MP3';
const MIN_HZ = 4000;
const MAX_HZ = 192_000;

/**
 * Decodes a file. @throws SoundError where it is no sound of a known kind, is damaged, or is too long
 */
export async function decodeSound(bytes: Uint8Array): Promise<Sound> {
  if (bytes.length > MAX_SOUND_BYTES)
    throw new SoundError(
      `it has ${(bytes.length / 1e6).toFixed(1)} MB; ${MAX_SOUND_BYTES / 1e6} MB are allowed`,
      'make it shorter, or save it as FLAC, OGG or MP3',
    );
  const format = FORMATS.find(({ is }) => is(bytes));
  if (!format) throw new SoundError('it is not a sound of a known kind', SAVE);
  const pieces = await decoded(format, bytes);
  const [first] = pieces;
  const count = first?.channelData.length ?? 0;
  if (!first || count === 0) throw new SoundError(`it has no sound in it (${format.name})`, SAVE);
  const { sampleRate } = first;
  const given = Array.from({ length: count }, (_, channel) =>
    joined(pieces.map(({ channelData }) => channelData[channel]!)),
  );
  const channels = (format.doubles ? alike(given) : given).map((samples) =>
    resample(samples, sampleRate, PLAYED_HZ),
  );
  for (const samples of channels)
    if (!samples.every(Number.isFinite))
      throw new SoundError(`it has samples that are not numbers (${format.name})`, SAVE);
  return { rateHz: PLAYED_HZ, channels, durationS: channels[0]!.length / PLAYED_HZ };
}

async function decoded({ name, make }: Format, bytes: Uint8Array): Promise<Piece[]> {
  const damaged = (why: string) => new SoundError(`it is damaged (${name}: ${why})`, SAVE);
  const pieces: Piece[] = [];
  let samples = 0;
  const add = (piece: Piece) => {
    const { channelData, sampleRate, errors = [] } = piece;
    if (errors.length > 0) throw damaged(errors[0]!.message);
    if (!channelData[0]?.length) return;
    mustFit(piece, pieces[0]);
    samples += channelData[0].length;
    if (samples > MAX_SOUND_S * sampleRate)
      throw new SoundError(`it is longer than ${MAX_SOUND_S} s`, 'cut it into parts');
    pieces.push(piece);
  };
  let decoder: Decoder | undefined;
  try {
    decoder = make(bytes);
    await decoder.ready;
    for (let at = 0; at < bytes.length; at += PART)
      add(await decoder.decode(bytes.subarray(at, at + PART)));
    if (decoder.flush) add(await decoder.flush());
  } catch (error) {
    throw error instanceof SoundError ? error : damaged((error as Error).message);
  } finally {
    decoder?.free();
  }
  return pieces;
}

/** One piece must be like the first, and like something that can be played. */
function mustFit({ channelData, sampleRate }: Piece, first: Piece | undefined): void {
  if (channelData.length > 2)
    throw new SoundError(
      `it has ${channelData.length} channels`,
      'save it with one channel, or with two',
    );
  if (!(sampleRate >= MIN_HZ && sampleRate <= MAX_HZ))
    throw new SoundError(`it has ${sampleRate} samples a second`, 'save it with 44100 or 48000');
  if (first && (first.sampleRate !== sampleRate || first.channelData.length !== channelData.length))
    throw new SoundError('its rate or its channels change on the way', SAVE);
}

/** The decoder believes the header, so that a wrong one could have it fill the memory. */
function mustBePlainWav(bytes: Uint8Array): void {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let at = 12; at + 24 <= bytes.length; at += 8 + view.getUint32(at + 4, true)) {
    if (!starts(bytes, 'fmt ', at)) continue;
    const tag = view.getUint16(at + 8, true);
    const channels = view.getUint16(at + 10, true);
    const frame = view.getUint16(at + 20, true);
    const bits = view.getUint16(at + 22, true);
    if (channels < 1 || channels > 2)
      throw new SoundError(`it has ${channels} channels`, 'save it with one channel, or with two');
    const plain = tag === 1 || tag === 3 || tag === 0xfffe;
    if (!plain || frame !== (channels * bits) / 8)
      throw new SoundError(
        'it is a WAV file of a rare kind',
        'save it as plain PCM with 16 or 24 bits',
      );
    return;
  }
}

/** Two channels that are the same are one. */
function alike(channels: Float32Array[]): Float32Array[] {
  const [left, right] = channels;
  return right?.every((sample, i) => sample === left![i]) ? [left!] : channels;
}

function joined(parts: readonly Float32Array[]): Float32Array {
  const whole = new Float32Array(parts.reduce((sum, { length }) => sum + length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}
