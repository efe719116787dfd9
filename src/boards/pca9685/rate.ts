import { tidy } from '../../shared/units.ts';

/**
 * The PWM rate, which all outputs of a chip share, by the NXP PCA9685 data sheet rev. 4, 7.3.5 (from
 * memory). The chip divides its clock by a whole number, so the rate is rarely exactly the requested one:
 * always take periods, steps and frequencies from here.
 */

/** Steps of one PWM period: the counter has 12 bits (7.3.3). */
export const COUNTS = 4096;
/** PRE_SCALE takes 3 to 255 (7.3.5). */
const PRE_SCALE = { min: 3, max: 255 } as const;

export interface Wanted {
  /** The rate in the prop file (Hz). */
  frequencyHz: number;
  /** The chip's clock (Hz). */
  oscillatorHz: number;
}

/** PRE_SCALE for a PWM frequency: round(oscillator / (4096 × frequency)) - 1 (7.3.5, equation 1). */
function divider({ frequencyHz, oscillatorHz }: Wanted): number {
  return Math.round(oscillatorHz / (COUNTS * frequencyHz)) - 1;
}

/** The value of the chip's register; the nearest possible one if the rate is out of range. */
export function preScaleOf(wanted: Wanted): number {
  return Math.min(Math.max(divider(wanted), PRE_SCALE.min), PRE_SCALE.max);
}

/** Length of one step of the counter (us), at the actual rate. */
export function stepUsOf(wanted: Wanted): number {
  return (1e6 * (preScaleOf(wanted) + 1)) / wanted.oscillatorHz;
}

/** The actual rate that PRE_SCALE gives (Hz). */
export function realHz(wanted: Wanted): number {
  return wanted.oscillatorHz / (COUNTS * (preScaleOf(wanted) + 1));
}

/** What is wrong with a rate, and what would be right; undefined if the chip can make it. */
export function rateProblem(wanted: Wanted): readonly [wrong: string, right: string] | undefined {
  if (divider(wanted) === preScaleOf(wanted)) return undefined;
  const { frequencyHz, oscillatorHz } = wanted;
  const atMost = Math.floor(oscillatorHz / (COUNTS * (PRE_SCALE.min + 1)));
  const atLeast = Math.ceil(oscillatorHz / (COUNTS * (PRE_SCALE.max + 1)));
  return [
    `a pca9685 cannot make ${frequencyHz} Hz from an oscillator of ${oscillatorHz} Hz`,
    `set frequencyHz between ${Math.max(atLeast, MIN_HZ)} and ${Math.min(atMost, MAX_HZ)}`,
  ];
}

/** The rates that a prop file may have (Hz): those possible with the usual clock of 25 MHz. */
export const MIN_HZ = 24;
export const MAX_HZ = 1526;

/** Steps of the counter during which a pulse (us) is high. */
export function stepsOf(us: number, stepUs: number): number {
  return Math.round(us / stepUs);
}

/** Whether this many steps are a pulse, which must begin and end within a period. */
export function isPulse(steps: number): boolean {
  return steps >= 1 && steps < COUNTS;
}

/** `330 Hz`, or `330 Hz, of which the chip makes 339.1 Hz` where it makes another. */
export function rateText(wanted: Wanted): string {
  const real = tidy(realHz(wanted), 1);
  const { frequencyHz } = wanted;
  return real === frequencyHz
    ? `${frequencyHz} Hz`
    : `${frequencyHz} Hz, of which the chip makes ${real} Hz`;
}
