import type { Registers } from '../sensing.ts';

/**
 * The TI ADS1115. Registers, bits, ranges, rates and the waiting time: drivers/iio/adc/ti-ads1015.c of
 * the Linux kernel. What is read after power-on: TI ADS1115 data sheet SBAS444D, section 9.6, from memory.
 */

export const INPUTS = 4;

export const REGISTER = { conversion: 0, configuration: 1, low: 2, high: 3 } as const;
/** The comparator's thresholds at power-on. Nothing here changes them. */
const POWER_ON = { low: 0x8000, high: 0x7fff } as const;

/** Full scale (V) by bits 11..9 of the configuration. */
const RANGES_V = [6.144, 4.096, 2.048, 1.024, 0.512, 0.256] as const;
export const COUNTS = 0x8000;
/** Bit 15, written: start; read: no conversion is under way. */
export const START = 1 << 15;
/** Bits 14..12: an input against ground. */
const INPUT_AT = 12;
const SINGLE_ENDED = 4;
const RANGE_AT = 9;
/** Bit 8: one conversion, then asleep; bits 7..5: 860 a second; 4..0: comparator off, its pin open. */
const SETTINGS = (1 << 8) | (0b111 << 5) | 0b00011;
const RATE_HZ = 860;
/** The chip's clock is good to this share. */
const CLOCK_ERROR = 0.1;
/** After a change of input or range: two conversions (ms), and one because a timer may end early. */
export const WAIT_MS = Math.ceil((2 * 1000 * (1 + CLOCK_ERROR)) / RATE_HZ) + 1;

/** Input resistance (ohm) by range: against ground (TI ADS1115 data sheet SBAS444D, 7.5, from memory). */
const INPUT_OHM = [10e6, 6e6, 6e6, 3e6, 100e6, 100e6] as const;

/** The range for the highest voltage at an input (V): the smallest that has it. */
function rangeOf(maxV: number): number {
  // Full scale itself is one count beyond the range.
  const range = RANGES_V.findLastIndex((volts) => maxV < volts);
  return Math.max(range, 0);
}

/** The full scale (V) of the range for `maxV`. */
export function fullScaleV(maxV: number): number {
  return RANGES_V[rangeOf(maxV)]!;
}

/** The resistance (ohm) of an input that is read with the range for `maxV`. */
export function inputOhm(maxV: number): number {
  return INPUT_OHM[rangeOf(maxV)]!;
}

/** The configuration that starts a conversion. */
export function configurationOf(input: number, maxV: number): number {
  return START | ((SINGLE_ENDED + input) << INPUT_AT) | (rangeOf(maxV) << RANGE_AT) | SETTINGS;
}

/** Whether it is this chip, by reading alone: it has no number of its own, but thresholds. */
export async function isAds1115(chip: Registers): Promise<boolean> {
  const [low, high] = await chip.read(REGISTER.low, REGISTER.high);
  return low === POWER_ON.low && high === POWER_ON.high;
}
