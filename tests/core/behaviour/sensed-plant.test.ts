import { describe, expect, test } from 'vitest';
import type { Params } from '../../../src/api/methods.ts';
import { SimDriver } from '../../../src/boards/sim/driver.ts';
import { Commands } from '../../../src/core/commands.ts';
import { dropWaysOf } from '../../../src/prop/drop-ways.ts';
import { makeProp, Rig, relay, servo } from '../rig.ts';

/** Simulated servos with a simulated meter, in the simulated plant. */

const draw = { idleA: 0.02, movingA: 0.4, stallA: 2 };

async function open(senses: Record<string, unknown>, rail: Record<string, unknown> = {}) {
  const prop = makeProp(
    {
      beak: servo({ rail: 'six', draw }),
      tail: servo({ rail: 'six', draw }),
      mist: relay({ rail: 'six', draw: { onA: 1 } }),
    },
    {
      ...{ senses, rails: { six: { volts: 6, limitA: 10, ...rail } } },
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
    },
  );
  const plant = { beak: { lagS: 0.05, stopsDeg: [-20, 45] as [number, number] } };
  const meter = new SimDriver();
  const { rig, client } = await Rig.live(prop, {
    drivers: { meter, main: new SimDriver(plant) },
  });
  const value = (name: string) => rig.core.body.senses.valueOf(rig.core.body.senses.find(name)!);
  await rig.run(200);
  return { rig, client, meter, value };
}

const DRAW = { kind: 'current', board: 'meter', rail: 'six' };
const SUPPLY = { kind: 'volts', board: 'meter', rail: 'six' };

describe('what a simulated meter measures', () => {
  test('the current of the simulated servos and of what is switched on; the estimate stays beside it', async () => {
    const { rig, client, value } = await open({ draw: DRAW });
    const [rail] = rig.core.body.rails;
    expect(value('draw')).toBeCloseTo(0.04, 1);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(200);
    expect(value('draw')).toBeCloseTo(1.04, 1);
    expect(rail!.measuredA).toBe(value('draw'));
    expect(rail!.amps).toBeCloseTo(1.04, 6);
  });

  test('the voltage falls with the load', async () => {
    const { rig, client, value } = await open({ supply: SUPPLY });
    const restV = value('supply');
    expect(restV).toBeCloseTo(6, 1);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(200);
    // Ohm: 1 A through 0.05 ohm.
    expect(restV - value('supply')).toBeGreaterThan(0.035);
    expect(restV - value('supply')).toBeLessThan(0.065);
  });

  test('the far end of the wires has what they leave, and a good loom is never accused', async () => {
    const core = (role: string, from: string, to: string) => ({ role, colour: 'RD', from, to });
    const wire = (label: string, ...cores: object[]) => ({
      label,
      sectionMm2: 0.5,
      lengthM: 2,
      cores,
    });
    const to = (n: number) => ({
      wire: wire(
        `W1${n}`,
        core('plus', `TB1-${n}`, `S${n}-2`),
        core('return', `TB2-${n}`, `S${n}-3`),
      ),
    });
    const prop = makeProp(
      {
        beak: servo({ rail: 'six', draw, ...to(1) }),
        tail: servo({ rail: 'six', draw, ...to(2) }),
      },
      {
        rails: { six: { volts: 6, limitA: 10, supply: { plus: 'PS-1', return: 'PS-2' } } },
        boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
        connectors: { TB1: { bridged: [[1, 2, 9]] }, TB2: { bridged: [[1, 2, 9]] } },
        wires: [
          {
            ...wire('W01', core('plus', 'PS-1', 'TB1-9'), core('return', 'PS-2', 'TB2-9')),
            rail: 'six',
          },
        ],
        senses: {
          ...{ draw: DRAW, near: SUPPLY },
          far: { ...SUPPLY, input: 0, at: { plus: 'TB1-9', return: 'TB2-9' } },
        },
      },
    );
    const { rig, client } = await Rig.live({ ...prop, dropWays: dropWaysOf(prop) } as typeof prop, {
      drivers: { meter: new SimDriver(), main: new SimDriver({ beak: { lagS: 0.05 } }) },
    });
    const value = (name: string) => rig.core.body.senses.valueOf(rig.core.body.senses.find(name)!);
    for (let i = 0; i < 20; i++) {
      for (const channel of ['beak', 'tail'])
        await client.call('channel.move', { channel, to: i % 2 ? -40 : 40 });
      await rig.run(1000);
    }
    await client.call('channel.move', { channel: 'beak', to: 40 });
    await client.call('channel.move', { channel: 'tail', to: 40 });
    await rig.run(300);
    // Two cores of 2 m and 0.5 mm2: Ohm's law with copper at 20 C (IEC 60028).
    const wiresOhm = 2 * ((0.017241 * 2) / 0.5);
    expect(value('draw')).toBeGreaterThan(0.2);
    expect(value('near') - value('far')).toBeCloseTo(value('draw') * wiresOhm, 2);
    expect(rig.core.safety.senses ?? []).toEqual([]);
  });

  test('a small battery falls further', async () => {
    const battery = { capacityAh: 0.3, fullV: 6.4, nominalV: 6 };
    const { rig, client, value } = await open({ supply: SUPPLY }, { battery });
    expect(value('supply')).toBeCloseTo(6.4, 1);
    await client.call('channel.switch', { channel: 'mist', on: true });
    await rig.run(200);
    // 0.15 ohm Ah / 0.3 Ah = 0.5 ohm.
    expect(value('supply')).toBeLessThan(5.95);
  });

  test('a potentiometer shows where the simulated servo is, also against its stop', async () => {
    const angle = {
      ...{ kind: 'position', board: 'meter', input: 1, channel: 'beak' },
      calibration: [
        [0.5, -50],
        [2.5, 50],
      ],
    };
    const { rig, client, value } = await open({ angle });
    await client.call('channel.move', { channel: 'beak', to: 30 });
    await rig.run(1500);
    expect(Math.abs(value('angle') - 30)).toBeLessThan(0.5);
    await client.call('channel.move', { channel: 'beak', to: -40 });
    await rig.run(2000);
    // Its stop is at -20.
    expect(Math.abs(value('angle') + 20)).toBeLessThan(0.5);
    expect(rig.servo('beak').measuredDeg).toBe(value('angle'));
  });

  test('a brown-out while it moves ends in a park within forS and a reading, never in a stop', async () => {
    const supply = { ...SUPPLY, warnBelow: 5.6, parkBelow: 5.3, forS: 0.1 };
    const { rig, client, meter } = await open({ supply });
    await client.call('channel.switch', { channel: 'mist', on: true });
    await client.call('channel.move', { channel: 'tail', to: 40 });
    await rig.run(100);
    meter.simulateSenses({ supply: { value: 4.2 } });
    const fromMs = rig.clock.nowMs();
    await rig.until(() => rig.condition === 'parking', 1);
    expect(rig.clock.nowMs() - fromMs).toBeLessThanOrEqual(100 + 2 * 25);
    await rig.until(() => rig.condition === 'parked');
    expect(rig.texts('stop')).toEqual([]);
    expect([rig.on('mist'), rig.servo('tail').known]).toEqual([false, true]);
  });

  test('sim.set speaks in the unit of the sense', async () => {
    const supply = { ...SUPPLY, input: 3, divider: [10_000, 10_000] };
    const { rig, client, value } = await open({ supply });
    expect(value('supply')).toBeCloseTo(6, 1);
    const commands = new Commands(rig.core, rig.editor, true);
    commands.open(client.session);
    const set = (senses: Params<'sim.set'>['senses']) =>
      commands.call(client.session.id, 'sim.set', { board: 'meter', senses });
    await set({ supply: { value: 5, noise: 0 } });
    await rig.run(100);
    expect(value('supply')).toBe(5);
    await expect(set({ batery: {} })).rejects.toThrow('measures no batery; it has supply');
  });
});
