import { describe, expect, test } from 'vitest';
import { create } from '../../../src/boards/ina219/driver.ts';
import type { Ina219Board } from '../../../src/boards/ina219/facts.ts';
import { calibrationOf } from '../../../src/boards/ina219/registers.ts';
import { schemas } from '../../../src/prop/schema.ts';
import fc from '../../fast-check.ts';
import { current, SensingBench, volts } from '../sensing-bench.ts';
import { Ina219Model, Pca9685Stranger, WordBus } from '../word-chips.ts';

const board = (over: Record<string, unknown> = {}) =>
  schemas().board.parse({
    driver: 'ina219',
    bus: 1,
    address: 0x41,
    shuntOhm: 0.1,
    maxA: 3.2,
    ...over,
  }) as Ina219Board;

function bench(over: Record<string, unknown> = {}) {
  const chip = new Ina219Model();
  const one = new SensingBench(new WordBus({ 65: chip }), (around) => create(board(over), around));
  one.each = () => chip.convert();
  return { one, chip };
}

test('the calibration register is that of the worked example in the data sheet', () => {
  // TI INA219 data sheet SBOS448G, section 8.5.1 and figure 27, from memory: 1 mA a count at 2 mohm is 20480 (5000h).
  expect(calibrationOf(1e-3, 2e-3)).toBe(20480);
  // Bit 0 is always 0.
  expect(calibrationOf(1e-3, 0.0401)).toBe(1020);
});

describe('a meter', () => {
  // Table of bits 12 and 11 of the configuration: 40, 80, 160 and 320 mV; the rest of the word is 32 V,
  // averages of 8 for both, both continuously.
  test.each([
    [0.4, 0x25df],
    [0.8, 0x2ddf],
    [1.6, 0x35df],
    [3.2, 0x3ddf],
    [0.41, 0x2ddf],
  ])('for %d A at 0.1 ohm has the configuration %i', async (maxA, configuration) => {
    const { one, chip } = bench({ maxA });
    chip.shuntV = maxA * 0.09;
    chip.busV = 24;
    await one.open(current, volts);
    await one.run(1000);
    expect(chip.writes).toEqual([
      [5, 4096],
      [0, configuration],
    ]);
    expect(one.reading(0).value).toBeCloseTo(maxA * 0.9, 3);
    expect(one.reading(1).value).toBeCloseTo(24, 2);
    expect(one.news).toEqual([]);
  });

  test('says the current both ways, and the volts', async () => {
    const { one, chip } = bench();
    await one.open(current, volts);
    await fc.assert(
      fc.asyncProperty(
        fc.double({ min: -3.1, max: 3.1, noNaN: true }),
        fc.double({ min: 0.1, max: 26, noNaN: true }),
        async (amps, busV) => {
          chip.shuntV = amps * 0.1;
          chip.busV = busV;
          await one.run(40);
          expect(Math.abs(one.reading(0).value - amps)).toBeLessThanOrEqual(10e-6 / 0.1);
          expect(Math.abs(one.reading(1).value - busV)).toBeLessThanOrEqual(4e-3);
        },
      ),
      { numRuns: 30 },
    );
  });

  test('at the end of its range the value is the least that flows, and it is said once', async () => {
    const { one, chip } = bench({ maxA: 0.4 });
    await one.open(current);
    chip.shuntV = -0.2;
    await one.run(3000);
    expect(one.reading().value).toBeCloseTo(-0.4, 3);
    expect(one.news).toHaveLength(1);
  });

  test('that was reset is set up again, and its 0 is none', async () => {
    const { one, chip } = bench();
    chip.shuntV = 0.1;
    chip.busV = 6;
    await one.open(current);
    await one.run(100);
    chip.powerOn();
    one.each = () => {};
    await one.run(10);
    expect(one.reading().value).toBeCloseTo(1, 3);
    one.each = () => chip.convert();
    await one.run(50);
    expect(chip.registers.get(0)).toBe(0x3ddf);
    expect(chip.registers.get(5)).toBe(4096);
    expect(one.reading()).toMatchObject({ fault: undefined });
    expect(one.news).toHaveLength(1);
  });

  test('that a real 0 flows through is believed', async () => {
    const { one, chip } = bench();
    chip.busV = 6;
    await one.open(current);
    await one.run(100);
    expect(one.reading()).toMatchObject({ value: 0, fault: undefined });
  });

  test('that has stopped converting is a fault', async () => {
    const { one, chip } = bench();
    chip.shuntV = 0.1;
    chip.busV = 6;
    await one.open(current);
    await one.run(100);
    chip.frozen = true;
    await one.run(200);
    expect(one.reading().fault).toMatch(/does not measure any more/);
  });

  test.each([
    ['as it is after power-on', 0x399f, true],
    ['as this driver left it for another current', 0x25df, true],
    ['as another program has set it up', 0x1eef, false],
  ])('%s is known, or left alone', async (_, configuration, known) => {
    const { one, chip } = bench();
    chip.registers.set(0, configuration);
    chip.shuntV = 0.1;
    await one.open(current);
    await one.run(100);
    expect(chip.writes.length > 0).toBe(known);
    if (!known) expect(one.reading().fault).toMatch(/is not an INA219, or another program/);
  });

  test('no PCA9685 is taken for one, whatever its mode: nothing is written to it', async () => {
    // MODE1 has any value, of MODE2 the bits 7 to 5 are 0 (NXP PCA9685 rev. 4, 7.3.2, from memory).
    for (let mode1 = 0; mode1 < 256; mode1++)
      for (let mode2 = 0; mode2 < 32; mode2++) {
        const stranger = new Pca9685Stranger();
        stranger.registers.set(0, (mode1 << 8) | mode2);
        const one = new SensingBench(new WordBus({ 65: stranger }), (around) =>
          create(board(), around),
        );
        if (mode1 % 16 !== mode2 % 16) continue;
        await one.open(current);
        await one.run(5);
        expect(stranger.writes).toEqual([]);
      }
  });
});
