import { METER, type MeterChip, type MeterReading, SLACK } from '../meter-registers.ts';
import { signed } from '../on-i2c.ts';

/**
 * The TI INA219. Registers, counts and the formula of the calibration: drivers/hwmon/ina2xx.c of the
 * Linux kernel. Bits of single registers: TI INA219 data sheet SBOS448G, section 8.6, from memory.
 */

/** Of the shunt's and the bus's register (V). */
const SHUNT_COUNT_V = 10e-6;
const BUS_COUNT_V = 4e-3;
/** The calibration is this divided by the amperes of one count and the shunt. */
const CALIBRATION_SCALE = 0.04096;

/** Ranges of the shunt's voltage (V) by bits 12 and 11 of the configuration. */
const RANGES_V = [0.04, 0.08, 0.16, 0.32] as const;
/** The shunt's voltage of the largest range (V). */
export const RANGE_V = RANGES_V[3];
/** The highest voltage at the bus input (V): the data sheet, from memory. */
export const MAX_BUS_V = 26;

/** At power-on: 32 V, the largest range of the shunt, 12 bits, both, continuously. */
const POWER_ON = 0x399f;
/** Bits 12 and 11. */
const RANGE_AT = 11;
/**
 * Bit 13: 32 V, whose counts are those of 16 V; bits 10..7 and 6..3: an average of 8 conversions of bus
 * and shunt, 4.26 ms each; 2..0: both, continuously. Together 8.5 ms, and with a clock that is 10 % slow
 * still less than 10 ms.
 */
const CONFIGURATION = (1 << 13) | (0b1011 << 7) | (0b1011 << 3) | 0b111;
const EVERY_MS = 10;

/** In the bus's register: conversion ready, cleared by reading the power register; overflow. */
const READY = 1 << 1;
const OVERFLOW = 1 << 0;
const BUS_AT = 3;

/** The range of the shunt's voltage for the highest current to be measured: the smallest that has it. */
function rangeOf(shuntOhm: number, maxA: number): number {
  const range = RANGES_V.findIndex((volts) => maxA * shuntOhm <= volts * SLACK);
  return range < 0 ? RANGES_V.length - 1 : range;
}

/** The calibration register for a current of one count (A) and a shunt (ohm); bit 0 is always 0. */
export function calibrationOf(countA: number, shuntOhm: number): number {
  return Math.round(CALIBRATION_SCALE / (countA * shuntOhm)) & ~1;
}

/** The chip with the settings for a shunt (ohm) and the highest current to be measured (A). */
export function ina219Chip(shuntOhm: number, maxA: number): MeterChip {
  const range = rangeOf(shuntOhm, maxA);
  const mostCounts = Math.round(RANGES_V[range]! / SHUNT_COUNT_V);
  return {
    name: 'INA219',
    everyMs: EVERY_MS,
    configuration: CONFIGURATION | (range << RANGE_AT),
    // A count of the current is one of the shunt, so that neither overflows before the other.
    calibration: calibrationOf(SHUNT_COUNT_V / shuntOhm, shuntOhm),
    // The power register comes last: reading it clears the conversion's flag.
    registers: [METER.bus, METER.shunt, METER.power],
    decode: (words) => decode(words, mostCounts),
    // It has no number of its own, so it must be as after power-on, or as this driver leaves it.
    async isIt(chip) {
      const [configuration] = await chip.read(METER.configuration);
      if (configuration === POWER_ON) return true;
      return RANGES_V.some((_, one) => configuration === (CONFIGURATION | (one << RANGE_AT)));
    },
  };
}

function decode([bus, shunt]: readonly number[], mostCounts: number): MeterReading {
  const count = signed(shunt!);
  return {
    finished: (bus! & READY) !== 0,
    shuntV: count * SHUNT_COUNT_V,
    busV: (bus! >> BUS_AT) * BUS_COUNT_V,
    beyond: Math.abs(count) >= mostCounts || (bus! & OVERFLOW) !== 0,
  };
}
