import { setImmediate as turn } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { busesOf, placedBoards, scanBus, simulatedLine } from '../../src/boards/scan.ts';
import { SIMULATED_CHIPS } from '../../src/boards/sim/chips.ts';
import { schemas } from '../../src/prop/schema.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Refusal } from '../../src/shared/errors.ts';
import {
  Ads1115Model,
  Ina219Model,
  Ina226Model,
  Pca9685Stranger,
  WordBus,
  type WordChip,
} from './word-chips.ts';

/** A bus, and every transfer on it. */
class Bench {
  readonly clock = new VirtualClock();
  readonly bus: WordBus;
  readonly asked: [address: number, register: number][] = [];

  constructor(chips: Record<number, WordChip>) {
    this.bus = new WordBus(chips);
    const read = this.bus.readWords.bind(this.bus);
    this.bus.readWords = (address, registers) => {
      for (const register of registers) this.asked.push([address, register]);
      return read(address, registers);
    };
  }

  scan(skip: number[] = [], open = async () => this.bus as WordBus) {
    return scanBus(1, new Set(skip), { open, clock: this.clock });
  }

  /** Lets so much time pass (ms), with what happens in it. */
  async pass(ms: number) {
    for (let i = 0; i < 200; i++) await turn();
    this.clock.advance(ms);
    for (let i = 0; i < 20; i++) await turn();
  }
}

/** A chip that knows only some commands, and answers nothing to others. */
class Sensor implements WordChip {
  readonly read: (register: number) => number;
  readonly heard: number[] = [];

  constructor(other: number | undefined) {
    this.read = (register) => {
      this.heard.push(register);
      if (other === undefined) throw Object.assign(new Error('NACK'), { code: 'EREMOTEIO' });
      return other;
    };
  }
  write() {
    throw new Error('a scan writes nothing');
  }
}

test('chips are named by reading alone, and the bus is closed', async () => {
  const chips = {
    64: new Pca9685Stranger(),
    65: new Ina219Model(),
    68: new Ina226Model(),
    72: new Ads1115Model(),
  };
  const bench = new Bench(chips);
  expect(await bench.scan()).toEqual({
    chips: [
      { address: 0x40, drivers: ['pca9685'] },
      { address: 0x41, drivers: ['ina219'] },
      { address: 0x44, drivers: ['ina226'] },
      { address: 0x48, drivers: ['ads1115'] },
    ],
  });
  for (const chip of Object.values(chips)) expect(chip.writes).toEqual([]);
  expect(bench.bus.most).toBe(1);
  expect(bench.bus.closed).toBe(1);
  // Only where boards are: other chips take the first byte of a reading for what they are to do.
  expect(bench.asked.every(([address]) => address >= 0x40 && address <= 0x4f)).toBe(true);
});

test('what is in use is not asked', async () => {
  const bench = new Bench({ 64: new Pca9685Stranger(), 69: new Ina226Model() });
  expect((await bench.scan([0x40, 0x45])).chips).toEqual([]);
  expect(bench.asked.some(([address]) => address === 0x40 || address === 0x45)).toBe(false);
});

test.each([
  ['that refuses other commands', undefined],
  ['of which everything reads as 1', 0xffff],
  ['of which everything reads as 0', 0],
  ['that answers with the number of an INA226, whatever is asked', 0x5449],
])('a chip %s is unknown, and gets no byte that resets humidity sensors', async (_, answer) => {
  const bench = new Bench({ 64: new Sensor(answer) });
  const { chips, trouble } = await bench.scan();
  expect(trouble).toBeUndefined();
  expect(chips).toEqual(answer === undefined ? [] : [{ address: 0x40, drivers: [] }]);
  // Soft reset: HTU21D and Si7021 data sheets, from memory.
  expect(bench.asked.map(([, register]) => register)).not.toContain(0xfe);
});

test('a chip that answers for another is called what it is; one that may be two is called both', async () => {
  const both = new Ina219Model();
  both.registers.set(2, 0x8000).set(3, 0x7fff);
  // Reading the power register of an INA219 changes another one.
  both.read = (register) => both.registers.get(register) ?? 0;
  const bench = new Bench({ 72: new Ina226Model(), 73: both });
  expect((await bench.scan()).chips).toEqual([
    { address: 0x48, drivers: ['ina226'] },
    { address: 0x49, drivers: ['ina219', 'ads1115'] },
  ]);
});

test('a transfer that never ends is given up, and nothing else is asked', async () => {
  const bench = new Bench({ 64: new Pca9685Stranger(), 72: new Ads1115Model() });
  const read = bench.bus.readWords;
  bench.bus.readWords = (address, registers) => {
    if (address === 0x42) bench.bus.hold();
    return read(address, registers);
  };
  const scanning = bench.scan();
  await bench.pass(249);
  const asked = bench.asked.length;
  expect(bench.asked.at(-1)![0]).toBe(0x42);
  await bench.pass(1);
  const { chips, trouble } = await scanning;
  expect(chips).toEqual([{ address: 0x40, drivers: ['pca9685'] }]);
  expect(trouble).toMatch(/0x42 on I2C bus 1: the bus is stuck: check SDA and SCL/);
  expect(bench.asked).toHaveLength(asked);
});

test('a bus on which every transfer takes its time is left after 5 s', async () => {
  const bench = new Bench({ 64: new Pca9685Stranger(), 75: new Ads1115Model() });
  bench.bus.before = () => bench.clock.advance(240);
  const { chips, trouble } = await bench.scan();
  expect(chips).toEqual([{ address: 0x40, drivers: ['pca9685'] }]);
  expect(trouble).toContain('the bus is too slow');
  expect(bench.clock.nowMs()).toBeLessThan(5300);
  expect(bench.bus.closed).toBe(1);
});

test('a transfer that the kernel ends after its time is the last, too', async () => {
  const bench = new Bench({ 72: new Ads1115Model() });
  bench.bus.fail('ETIMEDOUT');
  const { chips, trouble } = await bench.scan();
  expect(chips).toEqual([]);
  expect(trouble).toContain('the bus is stuck');
  expect(bench.asked).toEqual([[0x40, 0]]);
  expect(bench.bus.closed).toBe(1);
});

test('a chip of a kernel driver is named so, and the scan goes on', async () => {
  const busy: WordChip = {
    read: () => {
      throw Object.assign(new Error('busy'), { code: 'EBUSY' });
    },
    write: () => {},
  };
  const { chips } = await new Bench({ 65: busy, 72: new Ads1115Model() }).scan();
  expect(chips[0]).toMatchObject({ address: 0x41, drivers: [] });
  expect(chips[0]!.trouble).toContain('a kernel driver uses 0x41');
  expect(chips[1]).toMatchObject({ drivers: ['ads1115'] });
});

test.each([
  ['ENOENT', /there is no \/dev\/i2c-1: switch the bus on/],
  ['EACCES', /add this user to the group i2c/],
])('a bus that cannot be opened (%s) is said with its remedy', async (code, said) => {
  const open = () => Promise.reject(Object.assign(new Error(code), { code }));
  const { chips, trouble } = await new Bench({}).scan([], open);
  expect(chips).toEqual([]);
  expect(trouble).toMatch(said);
});

test('a missing package is said in its own words', async () => {
  const said = 'the npm package koffi is not there; install it with npm install koffi';
  const open = () => Promise.reject(new Refusal('driver.no-library', said));
  expect((await new Bench({}).scan([], open)).trouble).toBe(said);
});

test('a bus that opens too late is closed again', async () => {
  const bench = new Bench({});
  let opened = (_: WordBus) => {};
  const scanning = bench.scan(
    [],
    () =>
      new Promise<WordBus>((resolve) => {
        opened = resolve;
      }),
  );
  await bench.pass(5000);
  expect((await scanning).trouble).toContain('stuck');
  opened(bench.bus);
  await turn();
  expect(bench.bus.closed).toBe(1);
  expect(bench.asked).toEqual([]);
});

test('the simulated bus has a chip of each of three drivers', async () => {
  const around = { open: async () => simulatedLine(SIMULATED_CHIPS), clock: new VirtualClock() };
  expect(await scanBus(1, new Set(), around)).toEqual({
    chips: [
      { address: 0x40, drivers: ['pca9685'] },
      { address: 0x45, drivers: ['ina226'] },
      { address: 0x48, drivers: ['ads1115'] },
    ],
  });
});

test('the buses are those of the boards, and that of the header', () => {
  const board = (spec: object) => schemas().board.parse(spec);
  const placed = placedBoards({
    head: board({ driver: 'sim' }),
    adc: board({ driver: 'ads1115', bus: 3, address: 0x48 }),
    back: board({ driver: 'ads1115', bus: 3, address: 0x49 }),
  });
  expect(placed.map(({ name, bus, address }) => [name, bus, address])).toEqual([
    ['adc', 3, 0x48],
    ['back', 3, 0x49],
  ]);
  expect(busesOf(placed)).toEqual([1, 3]);
});
