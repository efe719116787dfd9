import { METER, type MeterChip, type MeterReading } from '../meter-registers.ts';
import { signed } from '../on-i2c.ts';

/**
 * The TI INA226. Registers, counts and the formula of the calibration: drivers/hwmon/ina2xx.c of the
 * Linux kernel. Bits of single registers: TI INA226 data sheet SBOS547A, section 7.6, from memory.
 */

const MASK_ENABLE = 0x06;
const MANUFACTURER = 0xfe;
const DIE = 0xff;
/** `TI` in ASCII, and 226 with its revision in the last 4 bits (from memory). */
const TI = 0x5449;
const DIE_226 = 0x2260;

/** Of the shunt's and the bus's register (V). */
const SHUNT_COUNT_V = 2.5e-6;
const BUS_COUNT_V = 1.25e-3;
/** The calibration is this divided by the amperes of one count and the shunt. */
const CALIBRATION_SCALE = 0.00512;
/** The largest count, at which the shunt has 81.92 mV. */
const MAX_COUNT = 0x7fff;
/** The shunt's voltage of the whole range (V). */
export const RANGE_V = SHUNT_COUNT_V * (MAX_COUNT + 1);
/** The highest voltage at the bus input (V): the data sheet, from memory. */
export const MAX_BUS_V = 36;

/**
 * Bit 14 is always set; bits 11..9: average of 4; 8..6 and 5..3: 1.1 ms for each conversion of bus and
 * shunt; 2..0: both, continuously. Together 8.8 ms, which hides the pulses of a servo's motor, and with a
 * clock that is 10 % slow still less than 10 ms.
 */
const CONFIGURATION = 0x4000 | (0b001 << 9) | (0b100 << 6) | (0b100 << 3) | 0b111;
const EVERY_MS = 10;

/** Conversion ready: cleared by reading the register. Bits 15..10 and 1..0 set the alert pin. */
const READY = 1 << 3;
const ALERTS = 0xfc03;

/** Whether a configuration may be that of an INA226: bits 15..12 read 0100, whatever was written. */
export function hasItsBits(configuration: number): boolean {
  return (configuration & 0xf000) === 0x4000;
}

/** The calibration register for a current of one count (A) and a shunt (ohm). */
export function calibrationOf(countA: number, shuntOhm: number): number {
  return Math.round(CALIBRATION_SCALE / (countA * shuntOhm));
}

/** The chip with the settings for a shunt (ohm). */
export function ina226Chip(shuntOhm: number): MeterChip {
  return {
    name: 'INA226',
    everyMs: EVERY_MS,
    configuration: CONFIGURATION,
    // A count of the current is one of the shunt, so that neither overflows before the other.
    calibration: calibrationOf(SHUNT_COUNT_V / shuntOhm, shuntOhm),
    registers: [MASK_ENABLE, METER.shunt, METER.bus],
    decode,
    async isIt(chip) {
      const [manufacturer, die] = await chip.read(MANUFACTURER, DIE);
      return manufacturer === TI && (die! & 0xfff0) === DIE_226;
    },
    async tidy(chip) {
      const [mask] = await chip.read(MASK_ENABLE);
      if (mask! & ALERTS) await chip.write(MASK_ENABLE, 0);
    },
  };
}

function decode([mask, shunt, bus]: readonly number[]): MeterReading {
  const count = signed(shunt!);
  return {
    finished: (mask! & READY) !== 0,
    shuntV: count * SHUNT_COUNT_V,
    busV: bus! * BUS_COUNT_V,
    beyond: count === MAX_COUNT || count === -MAX_COUNT - 1,
  };
}
