import { describe, expect, test } from 'vitest';
import { decodeSound } from '../../src/sound/decode.ts';
import { lengthS } from '../../src/sound/length.ts';
import { SoundError } from '../../src/sound/sound-error.ts';
import { soxFile } from '../sox.ts';

describe('the length by the headers is that of what is decoded', () => {
  test.each([
    ['a.wav', '-r 48000 -c 2 -b 24', 0.001],
    ['a.wav', '-r 8000 -c 1 -b 8', 0.001],
    ['a.flac', '-r 44100 -c 1', 0.001],
    ['a.ogg', '-r 44100 -c 2', 0.001],
    // The coder's delay is before and after the sound.
    ['a.mp3', '-r 44100 -c 2 -C 128', 0.06],
    ['a.mp3', '-r 22050 -c 1 -C -4.2', 0.15],
  ])('%s %s', async (name, output, withinS) => {
    const bytes = soxFile(name, output, 'synth 2.5 pinknoise gain -6');
    const { durationS } = await decodeSound(bytes);
    expect(Math.abs(lengthS(Buffer.from(bytes))! - durationS)).toBeLessThan(withinS);
  });
});

test('what is no sound, or is cut off in its header, has no length', () => {
  expect(lengthS(Buffer.from('a letter that says nothing'))).toBeUndefined();
  for (const name of ['a.wav', 'a.flac', 'a.ogg']) {
    const bytes = Buffer.from(soxFile(name, '-r 8000 -c 1', 'synth 0.2 sine 440'));
    for (let end = 0; end < 40; end++) {
      let seconds: number | undefined;
      try {
        seconds = lengthS(bytes.subarray(0, end));
      } catch (error) {
        expect(error).toBeInstanceOf(SoundError);
      }
      expect(seconds ?? 0, `${name} ${end}`).toBeLessThan(1);
    }
  }
});
