import { expect, test } from 'vitest';
import type { WearInfo } from '../../src/api/types.ts';
import { wornInOrder, wornText } from '../../src/gateway/page/wear-order.ts';

const NOTHING = {
  ...{ cycles: 0, travelDeg: 0, starts: 0, onS: 0, pushingS: 0, closures: 0, lightS: 0 },
};
const channel = (name: string, more: Partial<WearInfo> = {}): WearInfo => ({
  ...{ name, kind: 'servo', counts: NOTHING },
  ...more,
});

test('what is due comes first, then what is nearest to it; what was removed is not listed', () => {
  const maintain = (count: number) => [
    { of: 'starts' as const, count: 1, limit: 1e6 },
    { of: 'hours' as const, count, limit: 100 },
  ];
  const listed = wornInOrder([
    channel('beak'),
    channel('neck', { maintain: maintain(20) }),
    channel('arm'),
    channel('tail', { maintain: maintain(101), due: true }),
    channel('old', { maintain: maintain(500), gone: '2026-05-04T10:15:00.000Z' }),
    channel('wing', { maintain: maintain(90) }),
  ]);
  expect(listed.map(({ name }) => name)).toEqual(['tail', 'wing', 'neck', 'arm', 'beak']);
});

test('what wore it is one line, without what does not apply', () => {
  expect(wornText(channel('beak'))).toBe('nothing yet');
  const counts = { ...NOTHING, cycles: 12.5, travelDeg: 700.2, onS: 5400, pushingS: 0.2 };
  expect(wornText(channel('beak', { counts }))).toBe('13 cycles, 700 deg, 1.5 h');
  expect(wornText(channel('mist', { counts: { ...NOTHING, closures: 1 } }))).toBe('1 closure');
});
