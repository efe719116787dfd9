import type { PinElectrics, Power, ReservedFor } from './facts.ts';

/**
 * The 40-pin GPIO header, as far as check needs it. Sources: BCM2835 ARM Peripherals, section 6.2, table
 * 6-31 (alternate functions and default pulls; later chips have the same pulls on the header), and the
 * header's pin-out for the reserved pins.
 */

/** GPIO numbers brought out on the header: 0 to 27. */
export const HEADER_PINS = 28;

/** The pull resistor of a GPIO from power-on until something configures the pin. */
export function powerOnPull(pin: number): 'up' | 'down' {
  return pin <= 8 ? 'up' : 'down';
}

/**
 * Electrical properties of a GPIO. 3.3 V, and 16 mA at the strongest drive setting, both as source and as
 * sink: BCM2835 ARM Peripherals, GPIO pads control (drive strength, 2 to 16 mA; from memory). 50 mA for
 * all pins together: common practice, no source (the 3.3 V regulator of the first boards had that much to
 * spare). A pin withstands its supply voltage plus 0.3 V, the drop of its protection diode (common
 * practice, no source).
 */
export const HEADER_ELECTRICS: PinElectrics = {
  highV: 3.3,
  sourceA: 0.016,
  sinkA: 0.016,
  sumA: 0.05,
  maxInputV: 3.6,
};

const RESERVED: Record<number, ReservedFor> = {
  0: 'ID EEPROM', // ID_SD
  1: 'ID EEPROM', // ID_SC
  2: 'I2C', // SDA1
  3: 'I2C', // SCL1
  14: 'serial console', // TXD0
  15: 'serial console', // RXD0
};

/** What a GPIO is reserved for; undefined when it is free. */
export function reservedFor(pin: number): ReservedFor | undefined {
  return RESERVED[pin];
}

type HeaderPin = { gpio: number } | { power: Power };

const V3: HeaderPin = { power: '3.3 V' };
const V5: HeaderPin = { power: '5 V' };
const GROUND: HeaderPin = { power: 'ground' };
const gpio = (number: number): HeaderPin => ({ gpio: number });

/**
 * The function of each pin of the header, pin 1 first. Odd pins are in one row of the connector, even
 * pins in the other; pin 1 has the square solder pad. Source: the header's pin-out.
 */
export const HEADER_LAYOUT: readonly HeaderPin[] = [
  ...[V3, V5], // 1, 2
  ...[gpio(2), V5], // 3, 4
  ...[gpio(3), GROUND], // 5, 6
  ...[gpio(4), gpio(14)], // 7, 8
  ...[GROUND, gpio(15)], // 9, 10
  ...[gpio(17), gpio(18)], // 11, 12
  ...[gpio(27), GROUND], // 13, 14
  ...[gpio(22), gpio(23)], // 15, 16
  ...[V3, gpio(24)], // 17, 18
  ...[gpio(10), GROUND], // 19, 20
  ...[gpio(9), gpio(25)], // 21, 22
  ...[gpio(11), gpio(8)], // 23, 24
  ...[GROUND, gpio(7)], // 25, 26
  ...[gpio(0), gpio(1)], // 27, 28
  ...[gpio(5), GROUND], // 29, 30
  ...[gpio(6), gpio(12)], // 31, 32
  ...[gpio(13), GROUND], // 33, 34
  ...[gpio(19), gpio(16)], // 35, 36
  ...[gpio(26), gpio(20)], // 37, 38
  ...[GROUND, gpio(21)], // 39, 40
];
