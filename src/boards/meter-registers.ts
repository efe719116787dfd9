import type { Registers } from './sensing.ts';

/** What one reading of a meter says. */
export interface MeterReading {
  /** A conversion has been finished since the last reading. */
  finished: boolean;
  shuntV: number;
  busV: number;
  /** The shunt's voltage is at the end of its range, or beyond. */
  beyond: boolean;
}

/** How a chip that measures a shunt and the voltage behind it differs from others. */
export interface MeterChip {
  /** `INA226` */
  name: string;
  /** A conversion of both is finished in this time (ms). */
  everyMs: number;
  configuration: number;
  calibration: number;
  /** The registers of a reading, in this order. */
  registers: readonly number[];
  decode(words: readonly number[]): MeterReading;
  /** Whether it is this chip, by reading alone: a word written to another may move something. */
  isIt(chip: Registers): Promise<boolean>;
  /** Switches off what is not used, besides the two settings. */
  tidy?(chip: Registers): Promise<void>;
}

/** Rounding error: 0.1 ohm times 3.2 A must fit into 0.32 V. */
export const SLACK = 1 + 1e-9;

/** Registers of the INA219 and the INA226 (drivers/hwmon/ina2xx.c of the Linux kernel). */
export const METER = {
  configuration: 0x00,
  shunt: 0x01,
  bus: 0x02,
  power: 0x03,
  calibration: 0x05,
} as const;
