import { describe, expect, test } from 'vitest';
import { create } from '../../../src/boards/ina226/driver.ts';
import type { Ina226Board } from '../../../src/boards/ina226/facts.ts';
import { calibrationOf } from '../../../src/boards/ina226/registers.ts';
import { schemas } from '../../../src/prop/schema.ts';
import fc from '../../fast-check.ts';
import { current, SensingBench, volts } from '../sensing-bench.ts';
import { Ina226Model, Pca9685Stranger, WordBus } from '../word-chips.ts';

const board = (over: Record<string, unknown> = {}) =>
  schemas().board.parse({
    driver: 'ina226',
    bus: 1,
    address: 0x45,
    shuntOhm: 0.01,
    maxA: 8,
    ...over,
  }) as Ina226Board;

function bench(chip = new Ina226Model(), over: Record<string, unknown> = {}) {
  const made = new SensingBench(new WordBus({ 69: chip }), (around) => create(board(over), around));
  made.each = () => chip.convert();
  return { bench: made, chip };
}

/** A disturbance of a conversion: within a count of 2.5 uV at 0.01 ohm. */
const COUNT_A = 2.5e-6 / 0.01;

test('the calibration register is that of the worked example in the data sheet', () => {
  // TI INA226 data sheet SBOS547A, section 7.5, from memory: 1 mA a count and 2 mohm are 2560 (0A00h).
  expect(calibrationOf(1e-3, 2e-3)).toBe(2560);
});

describe('a meter', () => {
  test('a dip between two looks is not lost, and is told once', async () => {
    const { bench: one, chip } = bench();
    await one.open(current, volts);
    chip.busV = 5;
    await one.run(60);
    one.reading(1);
    chip.busV = 4.2;
    await one.run(20);
    chip.busV = 5;
    await one.run(40);
    const { value, low } = one.reading(1);
    expect(value).toBeCloseTo(5, 2);
    expect(low).toBeCloseTo(4.2, 2);
    await one.run(40);
    expect(one.reading(1).low).toBeCloseTo(5, 2);
    expect(one.reading(1).low).toBe(Number.POSITIVE_INFINITY);
  });

  test('says the current through the shunt, both ways, and the volts behind it', async () => {
    const { bench: one, chip } = bench();
    await one.open(current, volts);
    await fc.assert(
      fc.asyncProperty(
        fc.double({ min: -8, max: 8, noNaN: true }),
        fc.double({ min: 0.1, max: 36, noNaN: true }),
        async (amps, busV) => {
          chip.shuntV = amps * 0.01;
          chip.busV = busV;
          await one.run(40);
          expect(Math.abs(one.reading(0).value - amps)).toBeLessThanOrEqual(COUNT_A);
          expect(Math.abs(one.reading(1).value - busV)).toBeLessThanOrEqual(1.25e-3);
          expect(one.reading().fault).toBeUndefined();
        },
      ),
      { numRuns: 30 },
    );
    expect(one.bus.most).toBe(1);
  });

  test('gets its settings, and nothing else is written', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.02;
    chip.busV = 6;
    await one.open(current);
    await one.run(2000);
    // Averages of 4, 1.1 ms for each conversion, both, continuously: 4327h by the table of bits; the
    // calibration makes a count of current that of the shunt, 0.00512 / 2.5e-6.
    expect(chip.writes).toEqual([
      [5, 2048],
      [0, 0x4327],
    ]);
    // So the chip's own current register has the same count.
    expect(chip.read(4)).toBe(chip.read(1));
  });

  test('switches off an alert that another program has set', async () => {
    const { bench: one, chip } = bench();
    chip.registers.set(6, 0x8001);
    await one.open(current);
    await one.run(50);
    expect(chip.writes[0]).toEqual([6, 0]);
  });

  test('is read every 10 ms, and a reading is never younger than it says', async () => {
    const { bench: one, chip } = bench();
    await one.open(current);
    await one.run(50);
    let lastMs = one.reading().atMs;
    for (let n = 0; n < 100; n++) {
      chip.shuntV = 1e-5 * (1 + n);
      await one.run(5);
      const { atMs, value } = one.reading();
      expect(one.nowMs - atMs).toBeLessThanOrEqual(10);
      // What was set before the time that is said is what is read.
      expect(value).toBeGreaterThanOrEqual((1e-5 * (1 + n - 2)) / 0.01 - COUNT_A);
      expect(atMs - lastMs).toBeLessThanOrEqual(10);
      lastMs = atMs;
    }
  });

  test('at the end of its range the value is the least that flows, and it is said once', async () => {
    const { bench: one, chip } = bench();
    await one.open(current);
    chip.shuntV = 0.2;
    await one.run(5000);
    expect(one.reading().value).toBeCloseTo(8.192, 2);
    expect(one.news).toHaveLength(1);
    expect(one.news[0]).toMatch(/8\.2 A is the most that its shunt can show/);
  });
});

describe('what is not believed', () => {
  test('a chip that was reset: a 0 is none, and it is set up again, said once', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    chip.busV = 6;
    await one.open(current, volts);
    await one.run(100);
    expect(one.reading().value).toBeCloseTo(3, 3);
    const seen: number[] = [];
    const convert = one.each;
    for (let dip = 0; dip < 3; dip++) {
      chip.powerOn();
      // It has not converted anything yet: its registers are 0.
      one.each = () => {};
      await one.run(15);
      seen.push(one.reading(0).value, one.reading(1).value);
      one.each = convert;
      await one.run(60);
      seen.push(one.reading(0).value);
      expect(one.reading(0).fault).toBeUndefined();
      expect(chip.registers.get(0)).toBe(0x4327);
      expect(chip.registers.get(5)).toBe(2048);
    }
    expect(seen.filter((value) => value < 2.9)).toEqual([]);
    expect(one.news).toEqual([
      'the chip at 0x45 on I2C bus 1 had lost its settings, as after a dip of its supply: check the supply and its wires; it has been set up again',
    ]);
  });

  test('a reset that happens between two readings is noticed within 0.2 s, without any 0', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    chip.busV = 6;
    await one.open(current);
    await one.run(100);
    chip.powerOn();
    chip.convert();
    await one.run(200);
    expect(chip.registers.get(5)).toBe(2048);
    expect(one.news).toHaveLength(1);
  });

  test('a chip that is always reset again ends as a fault', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    await one.open(current);
    await one.run(100);
    one.each = () => chip.powerOn();
    await one.run(200);
    expect(one.reading().fault).toMatch(/had lost its settings/);
    expect(one.reading().value).toBeNaN();
  });

  test('a chip that has stopped converting, though its registers stay', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    chip.busV = 6;
    await one.open(current);
    await one.run(100);
    const { atMs } = one.reading();
    chip.frozen = true;
    await one.run(50);
    // Not yet a fault, but the time says how old it is.
    expect(one.reading()).toMatchObject({ fault: undefined });
    expect(one.reading().atMs).toBeLessThanOrEqual(atMs + 10);
    await one.run(150);
    expect(one.reading().fault).toMatch(/does not measure any more/);
    expect(one.reading().value).toBeNaN();
    chip.frozen = false;
    await one.run(1100);
    expect(one.reading()).toMatchObject({ fault: undefined });
    expect(one.reading().value).toBeCloseTo(3, 3);
  });

  test('another chip at its address: nothing is written to it', async () => {
    const stranger = new Pca9685Stranger();
    const one = new SensingBench(new WordBus({ 69: stranger }), (around) =>
      create(board(), around),
    );
    await one.open(current);
    await one.run(3000);
    expect(stranger.writes).toEqual([]);
    expect(one.reading().fault).toMatch(/is not an INA226/);
  });

  test('another chip that takes its place while it runs', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    await one.open(current);
    await one.run(100);
    const stranger = new Pca9685Stranger();
    one.bus.chips.set(0x45, stranger);
    await one.run(500);
    expect(stranger.writes).toEqual([]);
    expect(one.reading().fault).toMatch(/is not an INA226/);
    expect(one.reading().value).toBeNaN();
  });

  test('a chip that does not keep its settings', async () => {
    const chip = new Ina226Model();
    chip.write = () => {};
    const { bench: one } = bench(chip);
    await one.open(current);
    await one.run(50);
    expect(one.reading().fault).toMatch(/does not keep what it is told/);
  });
});

describe('a bus that fails', () => {
  test.each([
    ['EREMOTEIO', 'nothing answers at 0x45 on I2C bus 1'],
    ['ETIMEDOUT', 'the bus is stuck'],
    ['EBUSY', 'a kernel driver uses 0x45'],
  ])('with %s is a fault of the readings and throws nothing; it comes back', async (code, text) => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    await one.open(current);
    await one.run(100);
    one.bus.fail(code);
    await one.run(3000);
    expect(one.reading().fault).toContain(text);
    expect(one.reading().value).toBeNaN();
    one.bus.mend();
    // A transfer that hangs is tried after 1, 2 and 4 s, since it keeps the bus from others.
    await one.run(code === 'ETIMEDOUT' ? 4100 : 1100);
    expect(one.reading().fault).toBeUndefined();
    expect(one.reading().value).toBeCloseTo(3, 3);
  });

  test('a single disturbance is no fault', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    await one.open(current);
    await one.run(100);
    for (let n = 0; n < 20; n++) {
      one.bus.fail('EREMOTEIO', 2);
      await one.run(60);
      expect(one.reading().fault).toBeUndefined();
      expect(one.reading().value).toBeCloseTo(3, 3);
    }
  });

  test('is asked for once a second while it fails', async () => {
    const one = new SensingBench(new WordBus({}), (around) => create(board(), around));
    let calls = 0;
    one.bus.before = () => calls++;
    await one.open(current);
    await one.run(5000);
    expect(calls).toBeGreaterThanOrEqual(4);
    expect(calls).toBeLessThanOrEqual(6);
    expect(one.reading().atMs).toBe(Number.NEGATIVE_INFINITY);
  });

  test('is asked more and more seldom while its transfers hang', async () => {
    const { bench: one } = bench();
    await one.open(current);
    one.bus.fail('ETIMEDOUT');
    const atMs: number[] = [];
    one.bus.before = () => atMs.push(one.nowMs);
    await one.run(100_000);
    const gaps = atMs.slice(1).map((at, i) => Math.round((at - atMs[i]!) / 1000));
    expect(gaps).toEqual([1, 2, 4, 8, 16, 32, 32]);
  });

  test('that hangs: nothing waits, and it is said after 250 ms; closing does not wait for it', async () => {
    const { bench: one, chip } = bench();
    chip.shuntV = 0.03;
    await one.open(current);
    await one.run(100);
    const release = one.bus.hold();
    await one.run(200);
    expect(one.reading().fault).toBeUndefined();
    expect(one.nowMs - one.reading().atMs).toBeGreaterThanOrEqual(200);
    await one.run(100);
    expect(one.reading().fault).toMatch(/nothing got through for 250 ms/);
    expect(one.bus.most).toBe(1);
    release();
    await one.run(50);
    expect(one.reading()).toMatchObject({ fault: undefined });
    one.bus.hold();
    await one.run(20);
    await one.driver.close();
    expect(one.reading().fault).toMatch(/is not open/);
  });

  test('when the board is closed in the middle of a round, nothing follows', async () => {
    const { bench: one, chip } = bench();
    await one.open(current);
    const release = one.bus.hold();
    one.driver.check!(one.nowMs);
    await one.driver.close();
    release();
    await one.run(100);
    expect(chip.writes).toEqual([]);
    await one.open(volts);
    chip.busV = 5;
    await one.run(100);
    expect(one.reading().value).toBeCloseTo(5, 2);
  });
});
