/**
 * Loudness as people hear it, by Recommendation ITU-R BS.1770-4 (Annex 1): a K-weighting of two filters,
 * the mean square of what comes out, and gates for the loudness of a whole programme. Channels count alike:
 * the recommendation's weights of mono, left, right and centre are 1.
 */
import { mean } from './statistics.ts';

/** A filter of second order; `a0` is 1. */
interface Biquad {
  b0: number;
  b1: number;
  b2: number;
  a1: number;
  a2: number;
}

/** The rate for which the recommendation gives its coefficients (Hz). */
const STATED_RATE_HZ = 48_000;

/** BS.1770-4, Annex 1, tables 1 and 2. */
const STATED: readonly [Biquad, Biquad] = [
  {
    b0: 1.53512485958697,
    b1: -2.69169618940638,
    b2: 1.19839281085285,
    a1: -1.69065929318241,
    a2: 0.73248077421585,
  },
  { b0: 1, b1: -2, b2: 1, a1: -1.99004745483398, a2: 0.99007225036621 },
];

/**
 * The two filters behind those coefficients: a shelf of +4 dB at high frequencies, which stands for the
 * head, and a high pass. Worked back from the tables by the bilinear transform; as in B. De Man, "Evaluation
 * of implementations of the EBU R128 loudness measurement", AES 145 (2018), from memory, and checked
 * against the tables by a test.
 */
const SHELF = { hz: 1681.974450955533, gainDb: 3.999843853973347, q: 0.7071752369554196 };
const SHELF_MIDDLE = 0.4996667741545416;
const HIGH_PASS = { hz: 38.13547087602444, q: 0.5003270373238773 };

/** The K-weighting's filters, in their order, worked out for any rate (Hz). */
export function derivedKWeighting(rateHz: number): [Biquad, Biquad] {
  const k = Math.tan((Math.PI * SHELF.hz) / rateHz);
  const high = 10 ** (SHELF.gainDb / 20);
  const middle = high ** SHELF_MIDDLE;
  const a0 = 1 + k / SHELF.q + k * k;
  const k2 = Math.tan((Math.PI * HIGH_PASS.hz) / rateHz);
  const c0 = 1 + k2 / HIGH_PASS.q + k2 * k2;
  return [
    {
      b0: (high + (middle * k) / SHELF.q + k * k) / a0,
      b1: (2 * (k * k - high)) / a0,
      b2: (high - (middle * k) / SHELF.q + k * k) / a0,
      a1: (2 * (k * k - 1)) / a0,
      a2: (1 - k / SHELF.q + k * k) / a0,
    },
    {
      b0: 1,
      b1: -2,
      b2: 1,
      a1: (2 * (k2 * k2 - 1)) / c0,
      a2: (1 - k2 / HIGH_PASS.q + k2 * k2) / c0,
    },
  ];
}

/** The K-weighting's filters: as stated at 48 kHz, worked out for other rates (Hz). */
export function kWeighting(rateHz: number): readonly [Biquad, Biquad] {
  return rateHz === STATED_RATE_HZ ? STATED : derivedKWeighting(rateHz);
}

/** Loudness of a K-weighted mean square, summed over the channels (LUFS); -Infinity for silence. */
export function lufsOf(meanSquare: number): number {
  return meanSquare > 0 ? -0.691 + 10 * Math.log10(meanSquare) : Number.NEGATIVE_INFINITY;
}

/** Samples of one sound, one array for each channel, -1 to 1. */
export interface Samples {
  rateHz: number;
  channels: readonly Float32Array[];
}

/**
 * The K-weighted energy of a sound, summed so that the mean of any stretch is one subtraction: entry i is
 * the sum of the squares of all samples before i, of all channels together.
 */
export function weightedEnergy({ rateHz, channels }: Samples): Float64Array {
  const [shelf, highPass] = kWeighting(rateHz);
  const length = channels[0]?.length ?? 0;
  const sums = new Float64Array(length + 1);
  for (const samples of channels) {
    let [x1, x2, y1, y2, z1, z2] = [0, 0, 0, 0, 0, 0];
    for (let i = 0; i < length; i++) {
      const x = samples[i]!;
      const y = shelf.b0 * x + shelf.b1 * x1 + shelf.b2 * x2 - shelf.a1 * y1 - shelf.a2 * y2;
      const z =
        highPass.b0 * y + highPass.b1 * y1 + highPass.b2 * y2 - highPass.a1 * z1 - highPass.a2 * z2;
      x2 = x1;
      x1 = x;
      y2 = y1;
      y1 = y;
      z2 = z1;
      z1 = z;
      sums[i + 1]! += z * z;
    }
  }
  for (let i = 0; i < length; i++) sums[i + 1]! += sums[i]!;
  return sums;
}

/** The window of momentary loudness (s): EBU Tech 3341. */
export const MOMENTARY_S = 0.4;

/**
 * Loudness over time (LUFS): entry i is that of a window around `i * stepS`, as far as the sound reaches.
 * A momentary reading has 0.4 s; a mouth follows a shorter one.
 * @param energy from `weightedEnergy`
 */
export function loudnessTrack(
  energy: Float64Array,
  rateHz: number,
  { windowS = MOMENTARY_S, stepS }: { windowS?: number; stepS: number },
): Float64Array {
  const length = energy.length - 1;
  const window = Math.max(1, Math.round(windowS * rateHz));
  const track = new Float64Array(Math.max(1, Math.ceil(length / rateHz / stepS - 1e-9) + 1));
  for (let i = 0; i < track.length; i++) {
    const from = Math.round(i * stepS * rateHz) - (window >> 1);
    const start = Math.min(Math.max(from, 0), length);
    const end = Math.min(Math.max(from + window, 0), length);
    // Beyond its ends a sound is silent, so the window keeps its whole length.
    track[i] = lufsOf((energy[end]! - energy[start]!) / window);
  }
  return track;
}

/** Gates of the whole programme: absolute (LUFS), and relative to what passes it (LU). */
const ABSOLUTE_LUFS = -70;
const RELATIVE_LU = -10;
/** Blocks overlap by three quarters. */
const STEPS_PER_BLOCK = 4;

/**
 * Loudness of the whole sound (LUFS), gated as BS.1770-4 says, Annex 1, equations 3 to 7: blocks of 0.4 s
 * every 0.1 s. A sound without a whole block is measured without gates.
 * @param energy from `weightedEnergy`
 */
export function integratedLufs(energy: Float64Array, rateHz: number): number {
  const length = energy.length - 1;
  const block = Math.round(MOMENTARY_S * rateHz);
  if (length < block) return lufsOf(length === 0 ? 0 : energy[length]! / length);
  const step = block / STEPS_PER_BLOCK;
  const blocks: number[] = [];
  for (let i = 0; Math.round(i * step) + block <= length; i++) {
    const start = Math.round(i * step);
    blocks.push((energy[start + block]! - energy[start]!) / block);
  }
  const audible = blocks.filter((one) => lufsOf(one) > ABSOLUTE_LUFS);
  if (audible.length === 0) return Number.NEGATIVE_INFINITY;
  const gate = lufsOf(mean(audible)) + RELATIVE_LU;
  const counted = audible.filter((one) => lufsOf(one) > gate);
  return lufsOf(mean(counted));
}

/** How something follows loudness, from closed (0) to fully open (1). */
export interface Following {
  /** What is softer counts as silence (LUFS). */
  floorLufs: number;
  /** How much louder than that it must be for fully open (LU). */
  rangeLu: number;
  /** Time constants of opening and of closing (s): after one, 63 % of the way is done. */
  attackS: number;
  releaseS: number;
}

/**
 * How far open something is that follows a loudness, 0 to 1, at the same times: linear in LU between floor
 * and full, then smoothed by a filter of first order with its own time constant up and down.
 */
export function followed(
  track: Float64Array,
  stepS: number,
  { floorLufs, rangeLu, attackS, releaseS }: Following,
): Float64Array {
  const share = (constantS: number) => (constantS > 0 ? 1 - Math.exp(-stepS / constantS) : 1);
  const [up, down] = [share(attackS), share(releaseS)];
  const open = new Float64Array(track.length);
  let now = 0;
  for (let i = 0; i < track.length; i++) {
    const wanted = Math.min(Math.max((track[i]! - floorLufs) / rangeLu, 0), 1);
    now += (wanted - now) * (wanted > now ? up : down);
    open[i] = now;
  }
  return open;
}
