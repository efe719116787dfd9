import { decoder as wavDecoder } from '@audio/decode-wav';
import { FLACDecoder } from '@wasm-audio-decoders/flac';
import { OggVorbisDecoder } from '@wasm-audio-decoders/ogg-vorbis';
import { MPEGDecoder } from 'mpg123-decoder';
import type { Samples } from '../sums/loudness.ts';
import { resample } from '../sums/resample.ts';
import { type SoundKind, soundKind } from './kind.ts';
import { lengthS } from './length.ts';
import { MAX_SOUND_S, PLAYED_HZ } from './limits.ts';
import { mustFitBytes } from './read-sound.ts';
import { SAVE, SoundError, tooLong } from './sound-error.ts';
import { mustBePlayable, plainWav } from './wav.ts';

/**
 * Sound files, decoded whole: when they are loaded, in a thread for which that may take seconds, and never
 * when they play. The content says what a file is, not its name.
 */

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
  /** Its decoder gives a single channel twice. */
  doubles?: true;
  /** What the decoder gets in place of the file. @throws SoundError */
  plain?(bytes: Uint8Array): Uint8Array;
  make(): Decoder;
}

const FORMATS: Readonly<Record<SoundKind, Format>> = {
  wav: {
    name: 'WAV',
    plain: plainWav,
    make: () => wavDecoder(),
  },
  flac: { name: 'FLAC', make: () => new FLACDecoder() },
  ogg: { name: 'OGG', make: () => new OggVorbisDecoder() },
  mp3: { name: 'MP3', doubles: true, make: () => new MPEGDecoder() },
};

/**
 * A file is handed to its decoder in parts, so that one that swells is noticed while it does: some bytes of
 * FLAC are 65,535 samples.
 */
const PART = 4096;

/**
 * Decodes a file. @throws SoundError where it is no sound of a known kind, is damaged, or is too long
 */
export async function decodeSound(bytes: Uint8Array): Promise<Sound> {
  mustFitBytes(bytes.length);
  const kind = soundKind(bytes);
  if (!kind) throw new SoundError('it is not a sound of a known kind', SAVE);
  const format = FORMATS[kind];
  const whole = format.plain?.(bytes) ?? bytes;
  // By its header first; what it has in truth is counted while it is decoded.
  if ((lengthS(whole) ?? 0) > MAX_SOUND_S) throw tooLong();
  const pieces = await decoded(format, whole);
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
    if (samples > MAX_SOUND_S * sampleRate) throw tooLong();
    pieces.push(piece);
  };
  let decoder: Decoder | undefined;
  try {
    decoder = make();
    await decoder.ready;
    for (let at = 0; at < bytes.length; at += PART) {
      add(await decoder.decode(bytes.subarray(at, at + PART)));
      // The thread may have a sound to play meanwhile.
      await new Promise((resolve) => setImmediate(resolve));
    }
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
  mustBePlayable(channelData.length, sampleRate);
  if (first && (first.sampleRate !== sampleRate || first.channelData.length !== channelData.length))
    throw new SoundError('its rate or its channels change on the way', SAVE);
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
