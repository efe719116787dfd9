import { expect, test } from 'vitest';
import { shuntV, shuntW } from '../../src/sums/shunt.ts';

test('a shunt of 0.1 ohm with 3.2 A: the 320 mV and the 1.02 W of the usual INA219 board', () => {
  // The range of the INA219 at its largest gain, drivers/hwmon/ina2xx.c of the Linux kernel; P = U I.
  expect(shuntV(3.2, 0.1)).toBeCloseTo(0.32, 12);
  expect(shuntW(3.2, 0.1)).toBeCloseTo(0.32 * 3.2, 12);
  expect(shuntW(-3.2, 0.1)).toBe(shuntW(3.2, 0.1));
});
