import { describe, expect, test } from 'vitest';
import { HEADER_LAYOUT, HEADER_PINS, powerOnPull, reservedFor } from '../../src/boards/header.ts';

describe('the 40-pin header', () => {
  // BCM2835 ARM Peripherals, section 6.2, table 6-31, column "Pull" (from memory).
  const TABLE = `
    GPIO0 High  GPIO1 High  GPIO2 High  GPIO3 High  GPIO4 High  GPIO5 High  GPIO6 High
    GPIO7 High  GPIO8 High  GPIO9 Low   GPIO10 Low  GPIO11 Low  GPIO12 Low  GPIO13 Low
    GPIO14 Low  GPIO15 Low  GPIO16 Low  GPIO17 Low  GPIO18 Low  GPIO19 Low  GPIO20 Low
    GPIO21 Low  GPIO22 Low  GPIO23 Low  GPIO24 Low  GPIO25 Low  GPIO26 Low  GPIO27 Low`;

  test('pulls at power-on are those of the datasheet', () => {
    const rows = [...TABLE.matchAll(/GPIO(\d+) (High|Low)/g)];
    expect(rows).toHaveLength(HEADER_PINS);
    for (const [, pin, pull] of rows)
      expect([pin, powerOnPull(Number(pin))]).toEqual([pin, pull === 'High' ? 'up' : 'down']);
  });

  // The same table, columns ALT0 (SDA0, SCL0, SDA1, SCL1, TXD0, RXD0), and the header's pin-out,
  // which keeps GPIO 0 and 1 for the EEPROM of an add-on board (from memory).
  test('reserved pins', () => {
    const reserved = Array.from({ length: HEADER_PINS }, (_, pin) => [pin, reservedFor(pin)]);
    expect(reserved.filter(([, use]) => use !== undefined)).toEqual([
      [0, 'ID EEPROM'],
      [1, 'ID EEPROM'],
      [2, 'I2C'],
      [3, 'I2C'],
      [14, 'serial console'],
      [15, 'serial console'],
    ]);
  });

  // npm package rpio 2.4.2, lib/rpio.js, PINMAP_40: the GPIO of each pin, -1 where there is none.
  const PINMAP_40 = [
    [-1, -1, 2, -1, 3, -1, 4, 14, -1, 15, 17, 18, 27, -1, 22, 23, -1, 24, 10, -1],
    [9, 25, 11, 8, -1, 7, 0, 1, 5, -1, 6, 12, 13, -1, 19, 16, 26, 20, -1, 21],
  ].flat();

  test('each GPIO is at its pin', () => {
    expect(HEADER_LAYOUT.map((pin) => ('gpio' in pin ? pin.gpio : -1))).toEqual(PINMAP_40);
  });

  // The header's pin-out (from memory).
  test.each([
    ['3.3 V', [1, 17]],
    ['5 V', [2, 4]],
    ['ground', [6, 9, 14, 20, 25, 30, 34, 39]],
  ])('%s is at its pins', (power, pins) => {
    const found = HEADER_LAYOUT.flatMap((pin, i) =>
      'power' in pin && pin.power === power ? [i + 1] : [],
    );
    expect(found).toEqual(pins);
  });
});
