import { expect, test } from 'vitest';
import { countWear } from '../../src/core/wear.ts';
import { FIELD, FLAG, WEAR_FIELD } from '../../src/shared/telemetry.ts';
import { sweepUp } from '../sweep-up.ts';
import { lamp, makeProp, Rig, relay, rgb, servo } from './rig.ts';

const FIELDS = ['cycles', 'travelDeg', 'starts', 'onS', 'pushingS', 'closures', 'lightS'] as const;

test('travel, turns, starts, closures and hours are counted tick by tick', async () => {
  const prop = makeProp({ neck: servo(), fan: relay(), lantern: lamp() });
  const { rig, client } = await Rig.live(prop);
  const counts = (name: string) => {
    const { index } = rig.core.body.find(name)!;
    const at = rig.telemetry.channelAt(index);
    return Object.fromEntries(
      FIELDS.map((field) => [field, rig.telemetry.numbers[at + WEAR_FIELD[field]]!]),
    );
  };
  const before = counts('neck');
  expect(before).toMatchObject({ travelDeg: 0, starts: 0, cycles: 0 });
  for (const to of [10, 0, 10, 0, 10]) {
    void client.call('channel.move', { channel: 'neck', to });
    await rig.run(3000);
  }
  const neck = counts('neck');
  expect(neck.travelDeg).toBeCloseTo(50, 6);
  expect(neck.starts).toBe(5);
  // Four turns: out and back twice.
  expect(neck.cycles).toBe(2);
  expect(neck.onS! - before.onS!).toBeCloseTo(15, 1);

  const fan = counts('fan').onS!;
  // The shortest closure that a contact makes is counted as any other.
  for (let i = 0; i < 3; i++) {
    void client.call('channel.switch', { channel: 'fan', on: true, forS: 0.1 });
    await rig.run(1000);
  }
  expect(counts('fan').closures).toBe(3);
  expect(counts('fan').onS! - fan).toBeGreaterThan(0.29);
  expect(counts('fan').onS! - fan).toBeLessThan(0.35);

  void client.call('channel.dim', { channel: 'lantern', to: 0.5, fadeS: 0 });
  await rig.run(10_000);
  expect(counts('lantern').onS).toBeCloseTo(10, 0);
  expect(counts('lantern').lightS).toBeCloseTo(5, 0);
});

test('counting allocates nothing in a tick', async () => {
  const prop = makeProp({ neck: servo(), fan: relay(), lantern: lamp(), eye: rgb() });
  const { rig } = await Rig.live(prop);
  const { telemetry, core } = rig;
  const TICKS = 50_000;
  const count = (): number => {
    // Not shared: a closure would keep it on the heap.
    let turn = 0;
    sweepUp();
    const before = process.memoryUsage().heapUsed;
    for (let tick = 0; tick < TICKS; tick++) {
      // Everything moves, so that every count goes up.
      turn = (turn + 0.37) % 1;
      for (let i = 0; i < 4; i++) {
        const at = telemetry.channelAt(i);
        telemetry.numbers[at + FIELD.value] = turn > 0.5 ? turn : 0;
        telemetry.numbers[at + FIELD.flags] = turn > 0.2 ? FLAG.moving : 0;
      }
      countWear(telemetry, core.body);
    }
    return process.memoryUsage().heapUsed - before;
  };
  // Code that is not compiled yet keeps its numbers on the heap: when that is over depends on the machine.
  // No collection falls into a round, as each begins with one and leaves far less than the heap has room for.
  let least = Number.POSITIVE_INFINITY;
  for (let round = 0; round < 60 && least > TICKS; round++)
    least = Math.min(least, Math.abs(count()));
  // An object in each tick is 16 bytes at least.
  expect(least).toBeLessThan(TICKS);
});
