/** Half of the filter's length, in periods of the lower of both rates. */
const HALF_WIDTH = 24;
/** Shape of the Kaiser window: about 80 dB of stop band (A. V. Oppenheim and R. W. Schafer, Discrete-Time Signal Processing, from memory). */
const BETA = 8;
/** The pass band ends a little below half of the lower rate, so that the slope of the filter has room. */
const PASS = 0.95;
/** Places between two samples for which the filter is kept. */
const PHASES = 512;

/** Modified Bessel function of the first kind, order 0, by its power series. */
function bessel0(x: number): number {
  let [sum, term] = [1, 1];
  for (let k = 1; term > 1e-12 * sum; k++) {
    term *= (x / (2 * k)) ** 2;
    sum += term;
  }
  return sum;
}

/**
 * Samples at another rate, by a windowed sinc (Kaiser). The length is that of the same time.
 * @param fromHz and @param toHz rates (Hz), above 0
 */
export function resample(samples: Float32Array, fromHz: number, toHz: number): Float32Array {
  if (fromHz === toHz) return samples;
  const cutoff = PASS * Math.min(1, toHz / fromHz);
  const half = Math.ceil(HALF_WIDTH / cutoff);
  const width = 2 * half;
  const filter = new Float64Array(width * (PHASES + 1));
  const norm = bessel0(BETA);
  for (let phase = 0; phase <= PHASES; phase++) {
    let sum = 0;
    for (let k = 0; k < width; k++) {
      const x = k - half + 1 - phase / PHASES;
      const inside = 1 - (x / half) ** 2;
      const sinc = x === 0 ? 1 : Math.sin(Math.PI * cutoff * x) / (Math.PI * cutoff * x);
      const tap = inside <= 0 ? 0 : sinc * (bessel0(BETA * Math.sqrt(inside)) / norm);
      filter[phase * width + k] = tap;
      sum += tap;
    }
    // Steady signals keep their level exactly.
    for (let k = 0; k < width; k++) filter[phase * width + k]! /= sum;
  }
  const made = new Float32Array(Math.round((samples.length * toHz) / fromHz));
  for (let i = 0; i < made.length; i++) {
    const at = (i * fromHz) / toHz;
    const whole = Math.floor(at);
    const base = Math.round((at - whole) * PHASES) * width;
    const first = whole - half + 1;
    let sum = 0;
    for (let k = Math.max(0, -first); k < width && first + k < samples.length; k++)
      sum += samples[first + k]! * filter[base + k]!;
    made[i] = sum;
  }
  return made;
}
