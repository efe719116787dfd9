import { tidy } from '../shared/units.ts';
import { mean } from './statistics.ts';

/** From what a feedback potentiometer reads at several angles to the points of its calibration. */

/** What was read while a servo stood at an angle (deg): voltages at the input (V). */
export interface Stand {
  deg: number;
  volts: readonly number[];
}

/** A reading's standard deviation may be this share of the whole span at most. Chosen, no source. */
const NOISE_SHARE = 0.02;
/** With less than this between its ends, a converter's own error weighs too much (V, deg). Chosen. */
const LEAST_SPAN_V = 0.1;
const LEAST_SPAN_DEG = 15;
/** Readings of one stand that say something. */
const LEAST_READINGS = 5;
/** Decimals in the prop file: no converter of these shows more (V, deg). */
const DECIMALS_V = 4;
const DECIMALS_DEG = 1;

export interface SensePoints {
  /** [V, deg], in order of rising voltage. */
  calibration: [volts: number, deg: number][];
  /** Of each point, in the same order: how far it lies from the straight line through all (deg). */
  residualsDeg: number[];
  /** How far the angle turns with the voltage (deg/V); negative where it falls. */
  degPerV: number;
  /** The largest standard deviation of the readings of a stand, as an angle (deg). */
  noiseDeg: number;
}

/**
 * The calibration that stands come to: their mean voltages, and a least-squares line through them, which
 * only judges. @returns why there is none, with the remedy, where that is so
 */
export function sensePointsOf(stands: readonly Stand[]): SensePoints | { problem: string } {
  if (stands.length < 2) return { problem: 'fewer than 2 angles were read; go to 2 or more' };
  const few = stands.find(({ volts }) => volts.length < LEAST_READINGS);
  if (few)
    return {
      problem: `at ${tidy(few.deg, 1)} deg there were ${few.volts.length} readings in a second; look at the board and its wires`,
    };
  const read = stands
    .map(({ deg, volts }) => ({ deg, volts: mean(volts), sd: sampleDeviation(volts) }))
    .sort((a, b) => a.volts - b.volts);
  if (read.some(({ deg, volts, sd }) => !Number.isFinite(deg + volts + sd)))
    return { problem: 'a reading is not a number; look at the sensor and its wires' };
  const spanV = read.at(-1)!.volts - read[0]!.volts;
  const degs = read.map(({ deg }) => deg);
  const spanDeg = Math.max(...degs) - Math.min(...degs);
  if (spanDeg < LEAST_SPAN_DEG)
    return {
      problem: `the angles are only ${tidy(spanDeg, 1)} deg apart; they must span ${LEAST_SPAN_DEG} deg or more: widen the soft limits first`,
    };
  if (spanV < LEAST_SPAN_V)
    return {
      problem: `over ${tidy(spanDeg, 1)} deg the voltage changes by only ${tidy(spanV, 3)} V; is the sensor connected to this input, does it turn with the servo, and has it its supply?`,
    };
  const noisy = read.find(({ sd }) => sd > NOISE_SHARE * spanV);
  if (noisy)
    return {
      problem: `at ${tidy(noisy.deg, 1)} deg its readings scatter by ${tidy(noisy.sd, 3)} V, of ${tidy(spanV, 2)} V in all; shorten its wires, keep them away from those of the servos, and give it a capacitor at the input`,
    };
  const sign = Math.sign(degs.at(-1)! - degs[0]!);
  for (const [i, one] of read.entries()) {
    const before = read[i - 1];
    if (!before) continue;
    if ((one.deg - before.deg) * sign > 0 && one.volts - before.volts > 2 * (one.sd + before.sd))
      continue;
    return {
      problem: `its voltage does not rise or fall all the way: ${tidy(before.volts, 3)} V at ${tidy(before.deg, 1)} deg, ${tidy(one.volts, 3)} V at ${tidy(one.deg, 1)} deg; does it slip, or pass its end?`,
    };
  }
  const meanV = mean(read.map(({ volts }) => volts));
  const meanDeg = mean(degs);
  let above = 0;
  let below = 0;
  for (const { volts, deg } of read) {
    above += (volts - meanV) * (deg - meanDeg);
    below += (volts - meanV) ** 2;
  }
  const degPerV = above / below;
  return {
    calibration: read.map(({ volts, deg }) => [tidy(volts, DECIMALS_V), tidy(deg, DECIMALS_DEG)]),
    residualsDeg: read.map(({ volts, deg }) => deg - meanDeg - degPerV * (volts - meanV)),
    degPerV,
    noiseDeg: Math.max(...read.map(({ sd }) => sd)) * Math.abs(degPerV),
  };
}

/** Sample standard deviation. */
function sampleDeviation(values: readonly number[]): number {
  const middle = mean(values);
  const squares = values.reduce((sum, value) => sum + (value - middle) ** 2, 0);
  return Math.sqrt(squares / (values.length - 1));
}
