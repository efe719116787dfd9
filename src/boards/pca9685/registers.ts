import { COUNTS } from './rate.ts';

/**
 * Registers of the NXP PCA9685, by its data sheet rev. 4 (16 April 2015), from memory; sections are named
 * where they are used.
 */

export const OUTPUTS = 16;

/** Register addresses (7.3, table 4). */
export const REGISTER = {
  mode1: 0x00,
  mode2: 0x01,
  /** LED0_ON_L, LED0_ON_H, LED0_OFF_L, LED0_OFF_H, then those of LED1 and so on. */
  led0: 0x06,
  allLedOffHigh: 0xfd,
  preScale: 0xfe,
} as const;
export const BYTES_PER_OUTPUT = 4;

/** Bits of MODE1 (7.3.1, table 5). */
export const MODE1 = { restart: 0x80, autoIncrement: 0x20, sleep: 0x10 } as const;
/** Totem pole outputs; not inverted; they change on STOP (MODE2, 7.3.2, table 6). */
export const MODE2_OUTDRV = 0x04;
/**
 * Bit 1 of OUTNE: while the output-enable pin is high the outputs float; without it they are low
 * (MODE2, 7.3.2, table 6; 7.4).
 */
export const MODE2_FLOAT = 0x02;
/** Bit 4 of LEDn_ON_H: full on; of LEDn_OFF_H: full off, which wins (7.3.3). */
export const FULL = 0x10;
/** Time until the oscillator is stable after SLEEP is cleared (us; 7.3.1.1). */
export const OSCILLATOR_START_US = 500;

/**
 * Writes the four registers of one output: high for `counts` steps of the period. For none and for all
 * steps it uses the full-off and full-on bits (7.3.3), which leave no spike.
 */
export function encode(counts: number, into: Uint8Array, output: number): void {
  const at = output * BYTES_PER_OUTPUT;
  const full = counts >= COUNTS;
  const none = counts <= 0;
  into[at] = 0;
  into[at + 1] = full ? FULL : 0;
  into[at + 2] = full || none ? 0 : counts & 0xff;
  into[at + 3] = none ? FULL : full ? 0 : counts >> 8;
}
