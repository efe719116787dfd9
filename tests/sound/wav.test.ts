import { describe, expect, test } from 'vitest';
import { decodeSound } from '../../src/sound/decode.ts';
import { lengthS } from '../../src/sound/length.ts';
import { SoundError } from '../../src/sound/sound-error.ts';
import { plainWav, wavHead } from '../../src/sound/wav.ts';
import { chunk, extensible, TONE, type WavParts, wavOf } from './wav.ts';

/** Frames at 48 kHz of what is decoded; or what is wrong. By the header alone it is the same. */
async function played(parts: WavParts, cut?: number): Promise<number | string> {
  const bytes = wavOf(parts).subarray(0, cut);
  const wrong = (error: unknown) => {
    expect(error).toBeInstanceOf(SoundError);
    return (error as Error).message;
  };
  let headS: number | string;
  try {
    headS = lengthS(bytes) ?? 'no length';
  } catch (error) {
    headS = wrong(error);
  }
  const whole = await decodeSound(bytes).then(({ durationS }) => durationS, wrong);
  if (typeof whole === 'number') expect(headS).toBeCloseTo(whole, 4);
  else if (!whole.includes('no sound in it')) expect(headS).toBe(whole);
  return typeof whole === 'number' ? Math.round(whole * 48_000) : whole;
}

const notes = chunk('LIST', Buffer.from('INFOISFT\x06\0\0\0tests\0'));
const odd = chunk('note', Buffer.from('odd'));

describe('what a header may say', () => {
  test.each<[string, WavParts]>([
    ['a plain one', {}],
    ['other chunks before and after, one of them odd', { between: odd, after: notes }],
    ['a wrong number of bytes a second', { bytesPerS: 1 }],
    ['no size, as a stream has', { dataSize: 0xffff_ffff }],
    ['a size of 0 before sound', { dataSize: 0 }],
    ['a size beyond the end', { dataSize: 1_000_000 }],
    ['an extensible format', { format: 0xfffe, more: extensible(16, 1) }],
  ])('%s is played whole, and nothing else is', async (_, parts) => {
    expect(await played(parts)).toBe(24_000);
  });

  test('a size of 0 with notes behind it is an empty sound, and the notes are not heard', async () => {
    expect(await played({ data: Buffer.alloc(0), after: notes })).toBe(
      'it has no sound in it (WAV)',
    );
    // The padding of the last chunk may be missing.
    const loose = Buffer.concat([notes, odd]).subarray(0, -1);
    expect(await played({ data: Buffer.alloc(0), after: loose })).toBe(
      'it has no sound in it (WAV)',
    );
  });

  test('one that was cut off is played as far as it goes, in whole samples', async () => {
    const whole = wavOf().length;
    expect(await played({}, whole - 4001)).toBe((4000 - 2001) * 6);
    const { bytes } = wavHead(wavOf().subarray(0, whole - 1));
    expect(bytes).toBe(TONE.length - 2);
    for (const cut of [43, 45]) expect(await played({}, cut)).toBe('it has no sound in it (WAV)');
  });

  test.each<[string, WavParts, string]>([
    ['no channel', { channels: 0 }, '0 channels'],
    ['65535 channels', { channels: 65_535, frameBytes: 2 }, '65535 channels'],
    ['a rate of 0', { rateHz: 0 }, '0 samples a second'],
    ['a rate of 4 GHz', { rateHz: 4_000_000_000 }, '4000000000 samples a second'],
    ['a frame of another size', { frameBytes: 1 }, 'rare kind'],
    ['no bits', { bits: 0 }, 'rare kind'],
    ['12 bits', { bits: 12, frameBytes: 2 }, 'rare kind'],
    ['floats of 16 bits', { format: 3 }, 'rare kind'],
    ['a compressed format', { format: 0x11, bits: 4, frameBytes: 256 }, 'rare kind'],
    [
      'a compressed one within an extensible',
      { format: 0xfffe, more: extensible(16, 0x11) },
      'rare kind',
    ],
    [
      'an extensible format that is cut off',
      { format: 0xfffe, more: extensible(16, 1).subarray(0, 8) },
      'rare kind',
    ],
    [
      'an extensible format of somebody else',
      {
        format: 0xfffe,
        more: Buffer.concat([extensible(16, 1).subarray(0, 20), Buffer.from('else')]),
      },
      'rare kind',
    ],
    [
      'more than two minutes',
      { rateHz: 4000, bits: 8, frameBytes: 1, data: Buffer.alloc(480_002) },
      'longer than 120 s',
    ],
    [
      'more than two minutes without a size',
      { rateHz: 4000, bits: 8, frameBytes: 1, data: Buffer.alloc(480_002), dataSize: 0xffff_ffff },
      'longer than 120 s',
    ],
  ])('%s is refused before anything is decoded', async (_, parts, wrong) => {
    expect(await played(parts)).toContain(wrong);
  });

  test('a chunk whose size leads around, or nowhere, ends the search', async () => {
    for (const size of [0xffff_ffff, 0x7fff_ffff, 0xffff_fff7, 0x8000_0000])
      expect(await played({ between: chunk('junk', Buffer.alloc(4), size) })).toContain('no sound');
    // A second format does not count.
    const second = wavOf({ channels: 2 }).subarray(12, 36);
    expect(await played({ between: Buffer.from(second) })).toBe(24_000);
  });

  test('sound before its format is refused', () => {
    const bytes = Buffer.concat([Buffer.from('RIFF\0\0\0\0WAVE'), chunk('data', TONE)]);
    expect(() => wavHead(bytes)).toThrow('no format');
  });
});

test('the decoder gets a header in which nothing is left to be believed', () => {
  const more = extensible(16, 1);
  const odds = { between: odd, after: notes, bytesPerS: 3, format: 0xfffe, more };
  expect(Buffer.from(plainWav(wavOf(odds)))).toEqual(wavOf());
});
