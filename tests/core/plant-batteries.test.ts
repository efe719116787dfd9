import { describe, expect, test } from 'vitest';
import { SimDriver } from '../../src/boards/sim/driver.ts';
import { batteryState } from '../../src/prop/battery.ts';
import { runTimeH } from '../../src/sums/supply.ts';
import { LEAD } from './lead-acid.ts';
import { makeProp, Rig, relay } from './rig.ts';

const BATTERY = { capacityAh: 0.05, ratedH: 20, peukert: 1.2, internalOhm: 0.02, curve: LEAD };
/** It draws this while it is on (A). */
const FAN_A = 2;

async function open(battery: Record<string, unknown> = BATTERY, sense: object = {}) {
  const prop = makeProp(
    { fan: relay({ rail: 'twelve', draw: { onA: FAN_A }, duty: undefined }) },
    {
      boards: { main: { driver: 'sim' }, meter: { driver: 'sim' } },
      rails: { twelve: { volts: 12, limitA: 10, battery } },
      senses: { supply: { kind: 'volts', board: 'meter', rail: 'twelve', ...sense } },
    },
  );
  const drivers = { main: new SimDriver(), meter: new SimDriver() };
  const { rig, client } = await Rig.live(prop, { drivers });
  await rig.run(500);
  const rail = () => rig.core.body.rails[0]!;
  return { rig, client, rail, spec: prop.rails.twelve!.battery! };
}

describe('a simulated battery', () => {
  test('is full at the start, and is drained by what the prop draws', async () => {
    const { rig, client, rail, spec } = await open();
    expect(rail().measuredV).toBeCloseTo(12.65, 1);
    await client.call('channel.switch', { channel: 'fan', on: true });
    const lastsS = 3600 * runTimeH(spec, FAN_A);
    await rig.run((lastsS / 2) * 1000);
    // Half of it, less what is lost inside.
    expect(rail().measuredV).toBeCloseTo(12.24 - FAN_A * 0.02, 1);
    await rig.run((lastsS / 2) * 1000);
    expect(rail().measuredV).toBeCloseTo(11.89 - FAN_A * 0.02, 1);
  });

  test('shows what is left of it', async () => {
    const { rig, rail, spec } = await open();
    rig.core.simulateSupplies({ twelve: 0.5 });
    // What is read off the curve is smoothed over a minute or so.
    await rig.run(300_000);
    const { left, by } = batteryState(spec, rail().battery!);
    expect(by).toBe('curve');
    expect(left).toBeCloseTo(0.5, 1);
  });

  test('that is nearly empty makes the prop park, and it does not wake again by itself', async () => {
    const { rig, client } = await open(BATTERY, { parkBelow: 12, forS: 0.2 });
    expect(rig.core.condition).toBe('live');
    rig.core.simulateSupplies({ twelve: 0.05 });
    await rig.run(3000);
    expect(rig.core.condition).toBe('parked');
    expect((await client.refused('wake', {})).word).toBe('sense.low');
    rig.core.simulateSupplies({ twelve: 1 });
    await rig.run(3000);
    await rig.wake(client);
    expect(rig.core.condition).toBe('live');
  });

  test('without a curve falls from its full voltage to its empty one', async () => {
    const { rig, rail } = await open({
      capacityAh: 10,
      fullV: 12.6,
      emptyV: 10.5,
      internalOhm: 0.02,
    });
    expect(rail().measuredV).toBeCloseTo(12.6, 1);
    rig.core.simulateSupplies({ twelve: 0.5 });
    await rig.run(500);
    expect(rail().measuredV).toBeCloseTo(11.55, 1);
  });

  test('has the name of a rail that has one', async () => {
    const { rig } = await open();
    expect(() => rig.core.simulateSupplies({ twelv: 1 })).toThrow(
      /no battery feeds the rail twelv; .*twelve/,
    );
  });
});
