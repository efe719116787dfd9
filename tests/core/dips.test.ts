import { describe, expect, test } from 'vitest';
import type { Reading, SimulatedSense } from '../../src/boards/board.ts';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import { makeProp, Rig, relay, servo } from './rig.ts';

/** A simulated meter that also keeps the lowest reading since it was asked last. */
class Meter extends SimDriver {
  low = Number.NaN;
  override reading(sense: number, nowMs: number, into: Reading): void {
    super.reading(sense, nowMs, into);
    if (!Number.isNaN(this.low)) into.low = this.low;
    this.low = Number.NaN;
  }
}

const draw = { idleA: 0.02, movingA: 1, stallA: 3 };
const LOGIC = { kind: 'volts', board: 'meter', rail: 'five', dipBelow: 4.7 };

async function open(senses: Record<string, unknown> = { logic: LOGIC }) {
  const prop = makeProp(
    {
      beak: servo({ rail: 'five', draw }),
      tail: servo({ rail: 'six', draw }),
      mist: relay({ rail: 'five', draw: { onA: 0.4 } }),
    },
    {
      ...{ senses, rails: { five: { volts: 5, limitA: 10 }, six: { volts: 6, limitA: 10 } } },
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
    },
  );
  const meter = new Meter();
  const { rig, client } = await Rig.live(prop, { drivers: { meter, main: new SimDriver() } });
  await rig.run(1000);
  const read = (sense: SimulatedSense | null) => meter.simulateSenses({ logic: sense });
  const told = () => rig.texts('sense');
  const notes = () => (rig.core.safety.senses ?? []).map(({ text }) => text);
  return { rig, client, meter, read, told, notes };
}

describe('a dip of a rail', () => {
  test('one reading is enough: it is journalled at once, with what started then', async () => {
    const { rig, client, meter, told, notes } = await open();
    expect(told()).toEqual([]);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await client.call('channel.move', { channel: 'beak', to: 30 });
    await rig.run(60);
    meter.low = 4.31;
    await rig.run(20);
    expect(told()[0]).toMatch(
      /^logic dipped to 4\.31 V, below 4\.70 V; started just before, by the estimate: beak \+[\d.]+ A, mist \+0\.4 A$/,
    );
    const { values } = rig.entries.find(({ what }) => what === 'sense')!;
    expect(values).toMatchObject({ sense: 'logic', value: 4.31, limit: 'dipBelow', at: 4.7 });
    await rig.run(100);
    expect(told()[1]).toMatch(/^logic is back above 4\.84 V; it fell to 4\.31 V, for 0\.0\d s$/);
    // Neither parks nor stops anything, and is warned of for a minute.
    expect([rig.condition, notes().length]).toEqual(['live', 1]);
    await rig.run(61_000);
    expect(notes()).toEqual([]);
  });

  test('the plant dips by itself when a motor starts, and the noise of a good rail never does', async () => {
    const { rig, client, told } = await open({ logic: { ...LOGIC, dipBelow: 4.8 } });
    await rig.run(30_000);
    expect(told()).toEqual([]);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(1000);
    expect(told()).toEqual([]);
  });

  test('nothing started: it says to look at the supply; on another rail: it says that', async () => {
    const { rig, client, meter, told } = await open();
    meter.low = 4.5;
    await rig.run(100);
    expect(told()[0]).toContain('nothing started then, so look at the supply and its wires');
    await rig.run(11_000);
    await client.call('channel.move', { channel: 'tail', to: 30 });
    await rig.run(60);
    meter.low = 4.5;
    await rig.run(100);
    expect(told().at(-2)).toContain('started just before on other rails, by the estimate: tail');
  });

  test('a loose wire does not fill the journal', async () => {
    const { rig, meter, told } = await open();
    for (let i = 0; i < 100; i++) {
      meter.low = 4;
      await rig.run(200);
    }
    const dips = told().filter((text) => text.includes('dipped'));
    expect(dips.length).toBeGreaterThanOrEqual(2);
    expect(dips.length).toBeLessThanOrEqual(3);
    expect(dips[1]).toMatch(/; \d\d more since the last one$/);
  });

  test('a reading that is no number, or a sensor that has gone, is no dip', async () => {
    const { rig, read, told } = await open();
    read({ nan: true });
    await rig.run(3000);
    read({ gone: true });
    await rig.run(3000);
    expect(told().filter((text) => text.includes('dipped'))).toEqual([]);
  });

  test('as long as it stays low it is one dip', async () => {
    const { rig, read, told } = await open();
    read({ value: 4.2, noise: 0 });
    await rig.run(20_000);
    read(null);
    await rig.run(100);
    expect(told().map((text) => text.split(';')[0])).toEqual([
      'logic dipped to 4.20 V, below 4.70 V',
      'logic is back above 4.84 V',
    ]);
    expect(told()[1]).toMatch(/for (19|20)(\.\d+)? s$/);
  });
});
