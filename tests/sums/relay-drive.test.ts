import { expect, test } from 'vitest';
import {
  baseA,
  baseResistor,
  coilA,
  flybackDiode,
  saturatingBaseA,
} from '../../src/sums/relay-drive.ts';

// Worked by hand: a coil of 5 V and 70 ohm draws 71.4 mA. A transistor of gain 100 needs 0.714 mA, three
// times that is 2.14 mA, and from a pin of 3.3 V that is 2.6 V / 2.14 mA = 1213 ohm.
const COIL = { volts: 5, ohm: 70, gain: 100, driveV: 3.3 };

test('the coil and its base resistor', () => {
  expect(coilA(COIL)).toBeCloseTo(0.0714, 4);
  const base = baseResistor(COIL)!;
  expect(base.exactOhm).toBeCloseTo(1213.3, 1);
  expect(base.ohm).toBe(1200);
  expect(baseResistor(COIL, 'E12')!.ohm).toBe(1200);
  expect(base.pinA).toBeCloseTo(2.6 / 1200, 9);
  expect(baseA(COIL, 2600)).toBeCloseTo(0.001, 12);
});

test('no pin below a junction opens a transistor', () => {
  expect(baseResistor({ ...COIL, driveV: 0.6 })).toBeUndefined();
  expect(baseA({ driveV: 0.6 }, 1000)).toBe(0);
});

test('the diode bears twice the supply and the whole current', () => {
  expect(flybackDiode(COIL)).toEqual({ reverseV: 10, forwardA: 5 / 70 });
});

test('the transistor switch of a textbook', () => {
  // Horowitz and Hill, The Art of Electronics, transistor switch: 10 V through 1 kohm into a base are
  // 9.4 mA with 0.6 V at the base (from memory); 0.7 V are counted here.
  expect(baseA({ driveV: 10 }, 1000)).toBeCloseTo(0.0094, 3);
  // Its lamp takes 100 mA; with a gain of 100 and threefold overdrive 3 mA would do.
  expect(saturatingBaseA(0.1, 100)).toBeCloseTo(0.003, 12);
});
