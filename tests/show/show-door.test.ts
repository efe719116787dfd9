import { expect, test } from 'vitest';
import type { WearSum } from '../../src/service/wear-sum.ts';
import type { PropState } from '../../src/show/protocol.ts';
import { ShowDoor } from '../../src/startup/show-door.ts';
import { makeProp, Rig, servo } from '../core/rig.ts';

const SHOW = { name: 'foyer', prop: 'owl', broker: { url: 'mqtt://127.0.0.1' } };
const MINUTE_TICKS = 12_000;

async function door(over: object, readWear: () => Promise<WearSum>) {
  const rig = await Rig.open(makeProp({ neck: servo() }, over as Record<string, unknown>));
  const told: PropState[] = [];
  const made = new ShowDoor(
    rig.core,
    rig.clock,
    () => ({
      follow: () => {},
      tell: (state) => told.push(state),
      answer: () => {},
      receive: () => {},
      close: async () => {},
    }),
    readWear,
  );
  const ticks = async (count: number) => {
    for (let i = 0; i < count; i++) made.tick();
    // What was asked for is answered between two ticks.
    await Promise.resolve();
  };
  return { told, ticks };
}

test('a prop tells the show what has worn it: soon after its start, then once a minute', async () => {
  const sums: (WearSum | Error)[] = [
    { travelDeg: 100, onH: 1.5, due: 0 },
    new Error('the service has died'),
    { travelDeg: 300, onH: 1.6, due: 1 },
  ];
  let asked = 0;
  const { told, ticks } = await door({ show: SHOW }, async () => {
    const sum = sums[asked++]!;
    if (sum instanceof Error) throw sum;
    return sum;
  });
  await ticks(100);
  expect(told.at(-1)).not.toHaveProperty('wear');
  await ticks(100);
  await ticks(20);
  expect(told.at(-1)!.wear).toEqual({ travelDeg: 100, onH: 1.5, due: 0 });
  // What was known stays where nothing answers.
  await ticks(MINUTE_TICKS);
  await ticks(MINUTE_TICKS / 2);
  expect(asked).toBe(2);
  expect(told.at(-1)!.wear).toEqual({ travelDeg: 100, onH: 1.5, due: 0 });
  await ticks(MINUTE_TICKS / 2);
  await ticks(20);
  expect(asked).toBe(3);
  expect(told.at(-1)!.wear).toEqual({ travelDeg: 300, onH: 1.6, due: 1 });
});

test('a prop without a show asks for nothing', async () => {
  let asked = 0;
  const { told, ticks } = await door({}, async () => {
    asked++;
    return { travelDeg: 0, onH: 0, due: 0 };
  });
  await ticks(MINUTE_TICKS);
  expect(asked).toBe(0);
  expect(told).toEqual([]);
});
