import { setImmediate as turn } from 'node:timers/promises';
import { expect, test } from 'vitest';
import type { Board } from '../../src/boards/registry.ts';
import type { ScanLine } from '../../src/boards/scan.ts';
import { schemas } from '../../src/prop/schema.ts';
import { BoardScans } from '../../src/service/board-scans.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Ads1115Model, Ina226Model, Pca9685Stranger, WordBus } from '../boards/word-chips.ts';

const boards = (specs: Record<string, object>) =>
  Object.fromEntries(
    Object.entries(specs).map(([name, spec]) => [name, schemas().board.parse(spec) as Board]),
  );
const ARMS = { arms: { driver: 'pca9685', bus: 1, address: 0x40 } };

class Bench {
  readonly clock = new VirtualClock();
  readonly opened: number[] = [];
  readonly scans: BoardScans;

  constructor(open: (bus: number) => Promise<ScanLine>) {
    this.scans = new BoardScans(this.clock, (bus) => {
      this.opened.push(bus);
      return open(bus);
    });
  }

  async pass(ms: number) {
    for (let i = 0; i < 200; i++) await turn();
    this.clock.advance(ms);
    for (let i = 0; i < 20; i++) await turn();
  }
}

test('what answers is listed with the boards in use, which are not asked', async () => {
  const used = new Pca9685Stranger();
  used.read = () => {
    throw new Error('it was asked');
  };
  const bus = new WordBus({ 64: used, 69: new Ina226Model(), 72: new Ads1115Model() });
  const bench = new Bench(async () => bus);
  expect(await bench.scans.scan(boards(ARMS))).toEqual({
    buses: [{ bus: 1, simulated: false }],
    chips: [
      {
        ...{ bus: 1, simulated: false, address: 0x40, drivers: ['pca9685'], parts: [] },
        board: 'arms',
      },
      {
        ...{ bus: 1, simulated: false, address: 0x45, drivers: ['ina226'] },
        parts: ['ina226-r100', 'ina226-r010', 'ina226-r002'],
      },
      { bus: 1, simulated: false, address: 0x48, drivers: ['ads1115'], parts: ['ads1115'] },
    ],
  });
  expect(bus.closed).toBe(1);
});

test('two scans at once: the second is refused, and so is one that comes at once after', async () => {
  const bus = new WordBus({});
  const bench = new Bench(async () => bus);
  const first = bench.scans.scan({});
  await expect(bench.scans.scan({})).rejects.toMatchObject({ word: 'scan.busy' });
  await first;
  await expect(bench.scans.scan({})).rejects.toMatchObject({
    ...{ word: 'scan.busy', values: { waitS: 2 } },
  });
  expect(bench.opened).toEqual([1]);
  await bench.pass(2000);
  await bench.scans.scan({});
  expect(bench.opened).toEqual([1, 1]);
});

test('a bus that hangs is said, the others are scanned, and it is left alone until it lets go', async () => {
  const hanging = new WordBus({});
  const well = new WordBus({ 72: new Ads1115Model() });
  const release = hanging.hold();
  let letGo = () => {};
  // The thread closes the bus once its call has come back.
  hanging.close = () =>
    new Promise((resolve) => {
      letGo = resolve;
    });
  const bench = new Bench(async (bus) => (bus === 1 ? hanging : well));
  const prop = boards({ adc: { driver: 'ads1115', bus: 3, address: 0x49 } });
  const scanning = bench.scans.scan(prop);
  await bench.pass(250);
  await bench.pass(250);
  const { buses, chips } = await scanning;
  expect(buses[0]!.trouble).toContain('the bus is stuck');
  expect(buses[1]).toEqual({ bus: 3, simulated: false });
  expect(chips.map(({ bus, address }) => [bus, address])).toEqual([
    [3, 0x48],
    [3, 0x49],
  ]);
  await bench.pass(2000);
  const again = await bench.scans.scan({});
  expect(again.buses[0]!.trouble).toContain('still hangs');
  expect(bench.opened).toEqual([1, 3]);
  release();
  letGo();
  hanging.close = async () => {};
  await bench.pass(2000);
  const last = await bench.scans.scan({});
  expect(last.buses[0]!.trouble).toBeUndefined();
  expect(bench.opened).toEqual([1, 3, 1]);
});

test('a bus that cannot be opened is said, and may be tried again', async () => {
  const bench = new Bench(() => Promise.reject(Object.assign(new Error(), { code: 'ENOENT' })));
  for (let i = 0; i < 2; i++) {
    const { buses } = await bench.scans.scan({});
    expect(buses[0]!.trouble).toContain('there is no /dev/i2c-1');
    await bench.pass(2000);
  }
  expect(bench.opened).toEqual([1, 1]);
});

test('a simulated board has a simulated bus, which is called that', async () => {
  const bench = new Bench(async () => new WordBus({}));
  const { buses, chips } = await bench.scans.scan(boards({ head: { driver: 'sim' } }));
  expect(buses).toEqual([
    { bus: 1, simulated: false },
    { bus: 1, simulated: true },
  ]);
  expect(chips.every(({ simulated }) => simulated)).toBe(true);
  expect(chips.map(({ drivers }) => drivers[0])).toEqual(['pca9685', 'ina226', 'ads1115']);
  await bench.pass(2000);
  const real = await bench.scans.scan(boards(ARMS));
  expect(real.buses).toEqual([{ bus: 1, simulated: false }]);
});
