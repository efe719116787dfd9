/**
 * The 40-pin GPIO header, as far as a prop file can go wrong with it. Sources: BCM2835 ARM
 * Peripherals, section 6.2, table 6-31 (alternate functions and default pulls; later chips keep the
 * header's pulls), and the header's pin-out for the reserved pins.
 */

/** GPIO numbers brought out on the header: 0 to 27. */
export const HEADER_PINS = 28;

/** The pull resistor of a GPIO from power-on until something configures the pin. */
export function powerOnPull(pin: number): 'up' | 'down' {
  return pin <= 8 ? 'up' : 'down';
}

export type ReservedFor = 'ID EEPROM' | 'I2C' | 'serial console';

const RESERVED: Record<number, ReservedFor> = {
  0: 'ID EEPROM', // ID_SD
  1: 'ID EEPROM', // ID_SC
  2: 'I2C', // SDA1
  3: 'I2C', // SCL1
  14: 'serial console', // TXD0
  15: 'serial console', // RXD0
};

/** What the header keeps a GPIO for, or undefined when it is free. */
export function reservedFor(pin: number): ReservedFor | undefined {
  return RESERVED[pin];
}
