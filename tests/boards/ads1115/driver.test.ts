import { describe, expect, test } from 'vitest';
import { create } from '../../../src/boards/ads1115/driver.ts';
import type { Ads1115Board } from '../../../src/boards/ads1115/facts.ts';
import type { SenseSpec } from '../../../src/boards/board.ts';
import { schemas } from '../../../src/prop/schema.ts';
import fc from '../../fast-check.ts';
import { SensingBench } from '../sensing-bench.ts';
import { Ads1115Model, Ina226Model, WordBus } from '../word-chips.ts';

const board = (over: Record<string, unknown> = {}) =>
  schemas().board.parse({ driver: 'ads1115', bus: 1, address: 0x48, ...over }) as Ads1115Board;

const input = (at: number, maxV?: number): SenseSpec => ({
  name: `in${at}`,
  quantity: 'volts',
  input: at,
  ...(maxV !== undefined && { maxV }),
});

function bench(over: Record<string, unknown> = {}) {
  const chip = new Ads1115Model();
  const one = new SensingBench(new WordBus({ 72: chip }), (around) => create(board(over), around));
  one.waited = (ms) => {
    chip.nowMs += ms;
  };
  return { one, chip };
}

describe('the inputs', () => {
  test('each has its own value, in volts', async () => {
    const { one, chip } = bench();
    await one.open(input(0), input(1), input(2), input(3));
    await fc.assert(
      fc.asyncProperty(
        fc.array(fc.double({ min: 0, max: 3.3, noNaN: true }), { minLength: 4, maxLength: 4 }),
        async (all) => {
          for (const [at, value] of all.entries()) chip.inputV[at] = value;
          await one.run(30);
          for (const [at, value] of all.entries()) {
            expect(one.reading(at).fault).toBeUndefined();
            // 4.096 V are 32768 counts.
            expect(Math.abs(one.reading(at).value - value)).toBeLessThanOrEqual(125e-6);
          }
        },
      ),
      { numRuns: 30 },
    );
    expect(one.bus.most).toBe(1);
  });

  // Bits by the kernel's driver: start, input 0 to 3 against ground is 4 to 7, full scale by range,
  // single shot, 860 a second, comparator off.
  test.each([
    [0, undefined, 0xc3e3],
    [3, undefined, 0xf3e3],
    [1, 5.5, 0xd1e3],
    [1, 4.096, 0xd1e3],
    [1, 2.0, 0xd5e3],
    [2, 1.0, 0xe7e3],
    [2, 0.5, 0xe9e3],
    [2, 0.2, 0xebe3],
  ])('input %d up to %s V has the configuration %i', async (at, maxV, configuration) => {
    const { one, chip } = bench({ vddV: maxV === undefined ? 3.3 : 5.5 });
    chip.inputV[at] = 0.1;
    await one.open(input(at, maxV));
    await one.run(20);
    expect(new Set(chip.writes.map(([register, to]) => register * 65536 + to))).toEqual(
      new Set([65536 + configuration]),
    );
    expect(one.reading().value).toBeCloseTo(0.1, 3);
  });

  test('one that is at the end of its range is a fault of its own', async () => {
    const { one, chip } = bench();
    await one.open(input(0), input(1, 2));
    chip.inputV[0] = 1;
    chip.inputV[1] = 3;
    await one.run(50);
    expect(one.reading(0)).toMatchObject({ fault: undefined });
    expect(one.reading(1).fault).toMatch(
      /in1: input 1 of .* has 2.048 V or more: check its wires and its divider/,
    );
    expect(one.reading(1).value).toBeNaN();
    chip.inputV[1] = 1;
    await one.run(50);
    expect(one.reading(1).value).toBeCloseTo(1, 3);
  });

  test('a conversion that ends late is waited for, one that never ends is a fault', async () => {
    const { one, chip } = bench();
    chip.inputV[0] = 1;
    await one.open(input(0));
    // Far slower than the 10 % that are promised.
    chip.clock = 0.2;
    await one.run(50);
    expect(one.reading().value).toBeCloseTo(1, 3);
    chip.frozen = true;
    await one.run(50);
    expect(one.reading().fault).toMatch(/does not measure any more/);
  });

  test('two conversions and a tenth are waited for after each change', async () => {
    const { one } = bench();
    const waits = new Set<number>();
    one.waited = (ms) => waits.add(ms);
    await one.open(input(0), input(1));
    await one.run(50);
    for (const ms of waits) expect(ms).toBeGreaterThanOrEqual((2 * 1.1 * 1000) / 860);
    expect(waits.size).toBeGreaterThan(0);
  });

  test('a value is never one of before the time that is said', async () => {
    const { one, chip } = bench();
    await one.open(input(0), input(1));
    for (let n = 1; n < 60; n++) {
      chip.inputV[1] = n / 20;
      await one.run(5);
      const { atMs, value } = one.reading(1);
      if (atMs < 0) continue;
      const then = Math.round((one.nowMs - atMs) / 5);
      expect(value).toBeGreaterThanOrEqual((n - then) / 20 - 1e-3);
      expect(then).toBeLessThanOrEqual(3);
    }
  });
});

describe('what is not believed', () => {
  test('a chip that was reset in the middle of a conversion', async () => {
    const { one, chip } = bench();
    chip.inputV.fill(1);
    await one.open(input(0), input(1));
    await one.run(100);
    one.waited = (ms) => {
      chip.nowMs += ms;
      chip.powerOn();
    };
    await one.run(10);
    // Its conversion register is 0, and nobody believes it.
    for (const at of [0, 1]) {
      const { value } = one.reading(at);
      expect(Number.isNaN(value) || Math.abs(value - 1) < 1e-3).toBe(true);
    }
    await one.run(100);
    expect(one.reading(0).fault).toMatch(/had lost its settings/);
    one.waited = (ms) => {
      chip.nowMs += ms;
    };
    await one.run(1100);
    expect(one.reading(0).value).toBeCloseTo(1, 3);
    expect(one.news).toHaveLength(1);
  });

  test('another chip at its address: nothing is written to it', async () => {
    const meter = new Ina226Model();
    meter.busV = 5;
    meter.convert();
    const one = new SensingBench(new WordBus({ 72: meter }), (around) => create(board(), around));
    await one.open(input(0));
    await one.run(2000);
    expect(meter.writes).toEqual([]);
    expect(one.reading().fault).toMatch(/is not an ADS1115/);
  });

  test('nobody answers', async () => {
    const one = new SensingBench(new WordBus({}), (around) => create(board(), around));
    await one.open(input(0));
    await one.run(2000);
    expect(one.reading().fault).toMatch(/nothing answers at 0x48 on I2C bus 1/);
  });
});
