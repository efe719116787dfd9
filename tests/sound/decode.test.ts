import { describe, expect, test } from 'vitest';
import { decodeSound } from '../../src/sound/decode.ts';
import { SoundError } from '../../src/sound/sound-error.ts';
import { soxFile } from '../sox.ts';

/** Frequency by rising zero crossings (Hz), and root mean square, in the middle of a sound. */
function heard(samples: Float32Array) {
  const middle = samples.subarray(samples.length / 4, (samples.length * 3) / 4);
  let [crossings, squares] = [0, 0];
  for (let i = 1; i < middle.length; i++) {
    if (middle[i - 1]! < 0 && middle[i]! >= 0) crossings++;
    squares += middle[i]! ** 2;
  }
  return { hz: (crossings * 48_000) / middle.length, rms: Math.sqrt(squares / middle.length) };
}

const problem = (bytes: Uint8Array) =>
  decodeSound(bytes).then(
    () => 'no problem',
    (error: SoundError) => {
      expect(error).toBeInstanceOf(SoundError);
      return `${error.message}; ${error.right}`;
    },
  );

describe('what sox has written', () => {
  test.each([
    ['a.wav', '-r 48000 -c 1 -b 16', 0.001],
    ['a.wav', '-r 44100 -c 2 -b 24', 0.001],
    ['a.wav', '-r 22050 -c 1 -b 8', 0.01],
    ['a.wav', '-r 48000 -c 2 -e float -b 32', 0.001],
    ['a.flac', '-r 44100 -c 2', 0.001],
    ['a.ogg', '-r 44100 -c 2', 0.01],
    // Its encoder makes it 0.4 dB softer: sox itself reads that of the file.
    ['a.mp3', '-r 44100 -c 1', 0.02],
  ])('%s %s', async (name, output, toleranceOfRms) => {
    const sound = await decodeSound(soxFile(name, output, 'synth 1 sine 440 gain -6'));
    expect(sound.channels).toHaveLength(output.includes('-c 2') ? 2 : 1);
    expect(sound.durationS).toBeGreaterThan(0.99);
    expect(sound.durationS).toBeLessThan(1.06);
    for (const channel of sound.channels) {
      const { hz, rms } = heard(channel);
      expect(Math.abs(hz - 440)).toBeLessThan(3);
      // A sine of -6 dB: 0.5012 / sqrt 2.
      expect(Math.abs(rms - 0.3544)).toBeLessThan(toleranceOfRms);
    }
  });
});

describe('what cannot be played', () => {
  const whole = soxFile('a.wav', '-r 8000 -c 1 -b 16', 'synth 0.2 sine 440');

  test('names what it is, and what to do', async () => {
    expect(await problem(new Uint8Array(0))).toContain('not a sound of a known kind; save it');
    expect(await problem(new TextEncoder().encode('a letter'))).toContain('not a sound');
    expect(await problem(whole.slice(0, 30))).toContain('its header is damaged');
    expect(await problem(whole.slice(0, 40))).toContain('it has no sound in it');
    const six = soxFile('a.wav', '-r 8000 -c 6 -b 16', 'synth 0.2 sine 440');
    expect(await problem(six)).toContain('6 channels; save it with one');
    const slow = soxFile('a.wav', '-r 2000 -c 1 -b 16', 'synth 0.2 sine 440');
    expect(await problem(slow)).toContain('2000 samples a second');
  });

  test('one that is too long is refused, however small its file is', async () => {
    // Silence: two minutes and a second take some kB.
    const long = soxFile('a.flac', '-r 8000 -c 1', 'trim 0 121');
    expect(long.length).toBeLessThan(400_000);
    expect(await problem(long)).toBe('it is longer than 120 s; cut it into parts');
  });

  test('a header that claims 65535 channels fills no memory', async () => {
    const wrong = whole.slice();
    new DataView(wrong.buffer).setUint16(22, 65_535, true);
    expect(await problem(wrong)).toContain('65535 channels');
    const frames = whole.slice();
    new DataView(frames.buffer).setUint16(32, 1, true);
    expect(await problem(frames)).toContain('rare kind');
  });

  test.each(['a.flac', 'a.ogg', 'a.mp3', 'a.wav'])(
    '%s, damaged anywhere, is decoded or refused',
    async (name) => {
      const good = soxFile(name, '-r 44100 -c 1', 'synth 0.5 pinknoise gain -6');
      for (let n = 0; n < 12; n++) {
        const bad = good.slice(
          0,
          n % 3 === 0 ? Math.floor((good.length * (n + 1)) / 13) : good.length,
        );
        for (let k = 0; k < n; k++) bad[(n * 7919 + k * 104_729) % bad.length]! ^= 0xff;
        await problem(bad);
      }
    },
  );
});
