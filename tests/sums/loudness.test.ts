import koffi from 'koffi';
import { describe, expect, test } from 'vitest';
import { decodeSound } from '../../src/sound/decode.ts';
import {
  derivedKWeighting,
  followed,
  integratedLufs,
  kWeighting,
  loudnessTrack,
  type Samples,
  weightedEnergy,
} from '../../src/sums/loudness.ts';
import { loudnessLibrary } from '../loudness-reference.ts';
import { soxFile } from '../sox.ts';

/** Readings of libebur128, the reference: momentary at given times (s), and of the whole. */
function reference({ rateHz, channels }: Samples, timesS: readonly number[]) {
  const lib = koffi.load(loudnessLibrary());
  const init = lib.func('void *ebur128_init(unsigned int channels, unsigned long rate, int mode)');
  const add = lib.func(
    'int ebur128_add_frames_float(void *state, const float *frames, size_t count)',
  );
  const momentary = lib.func('int ebur128_loudness_momentary(void *state, _Out_ double *out)');
  const global = lib.func('int ebur128_loudness_global(void *state, _Out_ double *out)');
  // EBUR128_MODE_I, which has EBUR128_MODE_M in it.
  const state = init(channels.length, rateHz, 5);
  const length = channels[0]!.length;
  const frames = new Float32Array(length * channels.length);
  for (let i = 0; i < length; i++)
    for (const [c, samples] of channels.entries()) frames[i * channels.length + c] = samples[i]!;
  const read = (of: (state: unknown, out: number[]) => number) => {
    const out = [0];
    expect(of(state, out)).toBe(0);
    return out[0]!;
  };
  let at = 0;
  const feed = (to: number) => {
    expect(add(state, frames.subarray(at * channels.length, to * channels.length), to - at)).toBe(
      0,
    );
    at = to;
  };
  const momentaryLufs = timesS.map((timeS) => {
    feed(Math.round(timeS * rateHz));
    return read(momentary);
  });
  feed(length);
  return { momentaryLufs, wholeLufs: read(global) };
}

const sine = (rateHz: number, hz: number, dbfs: number, seconds: number) =>
  Float32Array.from(
    { length: rateHz * seconds },
    (_, i) => 10 ** (dbfs / 20) * Math.sin((2 * Math.PI * hz * i) / rateHz),
  );

describe('the K-weighting', () => {
  test('worked out for 48 kHz is that of the tables of BS.1770-4', () => {
    const [stated, derived] = [kWeighting(48_000), derivedKWeighting(48_000)];
    for (const stage of [0, 1] as const)
      for (const key of ['b0', 'b1', 'b2', 'a1', 'a2'] as const)
        expect(derived[stage][key]).toBeCloseTo(stated[stage][key], 10);
  });
});

describe('the known readings of EBU Tech 3341', () => {
  // Minimum requirements, signals 1 and 2: a stereo sine of 1 kHz; readings within 0.1 LU.
  test.each([
    [-23, 48_000],
    [-33, 48_000],
    [-23, 44_100],
    [-23, 32_000],
  ])('a sine at %d dBFS in both channels, at %d Hz, reads that many LUFS', (dbfs, rateHz) => {
    const one = sine(rateHz, 1000, dbfs, 5);
    const energy = weightedEnergy({ rateHz, channels: [one, one] });
    expect(Math.abs(integratedLufs(energy, rateHz) - dbfs)).toBeLessThan(0.1);
    const track = loudnessTrack(energy, rateHz, { stepS: 0.02 });
    expect(Math.abs(track[125]! - dbfs)).toBeLessThan(0.1);
  });

  // Signal 3: 10 s at -36, 60 s at -23, 10 s at -36 dBFS; the gate leaves the soft ends out.
  test('the gate leaves out what is much softer', () => {
    const rateHz = 48_000;
    const parts = [
      sine(rateHz, 1000, -36, 10),
      sine(rateHz, 1000, -23, 60),
      sine(rateHz, 1000, -36, 10),
    ];
    const one = new Float32Array(80 * rateHz);
    one.set(parts[0]!);
    one.set(parts[1]!, 10 * rateHz);
    one.set(parts[2]!, 70 * rateHz);
    const lufs = integratedLufs(weightedEnergy({ rateHz, channels: [one, one] }), rateHz);
    expect(Math.abs(lufs + 23)).toBeLessThan(0.1);
  });
});

describe('readings of libebur128 of the same samples', () => {
  test.each([
    ['pink noise that swells', '-r 48000 -c 2', 'synth 6 pinknoise fade t 3 6 2 gain -8'],
    [
      'a voice-like tone with gaps',
      '-r 48000 -c 1',
      'synth 0.3 sawtooth 180 pad 0 0.2 repeat 7 gain -6',
    ],
  ])('%s', async (_, output, effects) => {
    const sound = await decodeSound(soxFile('a.wav', output, effects));
    const timesS = [0.5, 1, 1.3, 2, 2.6, 3.3];
    const { momentaryLufs, wholeLufs } = reference(sound, timesS);
    const energy = weightedEnergy(sound);
    expect(integratedLufs(energy, sound.rateHz)).toBeCloseTo(wholeLufs, 1);
    // The reference reads the window that ends now; ours has its middle there.
    const track = loudnessTrack(energy, sound.rateHz, { stepS: 0.1 });
    for (const [i, timeS] of timesS.entries()) {
      const ours = track[Math.round((timeS - 0.2) / 0.1)]!;
      expect(Math.abs(ours - momentaryLufs[i]!), `at ${timeS} s`).toBeLessThan(0.05);
    }
  });
});

describe('following', () => {
  const steady = (lufs: number) => new Float64Array(200).fill(lufs);
  const how = { floorLufs: -50, rangeLu: 30, attackS: 0.05, releaseS: 0.2 };

  test('half of the range opens half', () => {
    expect(followed(steady(-35), 0.02, how).at(-1)).toBeCloseTo(0.5, 4);
  });

  test('below the floor it stays shut, above the range it is open and no more', () => {
    expect(Math.max(...followed(steady(-51), 0.02, how))).toBe(0);
    expect(Math.max(...followed(steady(Number.NEGATIVE_INFINITY), 0.02, how))).toBe(0);
    expect(followed(steady(0), 0.02, how).at(-1)).toBeCloseTo(1, 6);
  });

  test('after one time constant 63 % of the way is done, up and down', () => {
    const track = new Float64Array([...steady(0), ...steady(-90)]);
    const open = followed(track, 0.01, how);
    expect(open[4]).toBeCloseTo(1 - Math.exp(-1), 6);
    expect(open[200 + 19]).toBeCloseTo(Math.exp(-1), 3);
  });
});
