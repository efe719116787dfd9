import { expect, test } from 'vitest';
import { wearSum } from '../../src/service/wear-sum.ts';
import { Rig } from './rig.ts';

const counts = { cycles: 0, travelDeg: 0, starts: 0, onS: 0, pushingS: 0, closures: 0, lightS: 0 };
const servo = { name: 'beak', kind: 'servo', counts: { ...counts, travelDeg: 1234.4, onS: 5400 } };

test('adds up the channels that the file has now, and counts those that are due', () => {
  expect(wearSum([])).toEqual({ travelDeg: 0, onH: 0, due: 0 });
  expect(
    wearSum([
      servo,
      { ...servo, name: 'jaw', due: true },
      { name: 'fan', kind: 'relay', due: false, counts: { ...counts, onS: 1800 } },
      { ...servo, name: 'neck', due: true, gone: '2026-01-01T00:00:00Z' },
    ]),
  ).toEqual({ travelDeg: 2469, onH: 3.5, due: 1 });
});

test('is what the service answers the core', async () => {
  const rig = await Rig.open();
  expect(await rig.ask((n) => ({ t: 'wear-sum', n }))).toEqual({ travelDeg: 0, onH: 0, due: 0 });
  await rig.close();
});
