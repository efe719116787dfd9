import { expect, test } from 'vitest';
import { whenText } from '../../src/cli/when.ts';

const NOW = new Date(2026, 4, 4, 15, 0, 0);
const local = (...at: [number, number, number, number?, number?]) => new Date(...at).toISOString();

test.each([
  ['now', NOW.toISOString()],
  ['today', local(2026, 4, 4)],
  ['yesterday', local(2026, 4, 3)],
  ['14:32', local(2026, 4, 4, 14, 32)],
  // It is three in the afternoon: four was yesterday.
  ['16:00', local(2026, 4, 3, 16, 0)],
  ['2026-05-01', local(2026, 4, 1)],
  ['2026-05-01 9:05', local(2026, 4, 1, 9, 5)],
  ['2026-05-01T09:05:00Z', '2026-05-01T09:05:00.000Z'],
  ['90min', local(2026, 4, 4, 13, 30)],
  ['2d', local(2026, 4, 2, 15, 0)],
])('%s', (text, expected) => {
  expect(whenText(text, NOW)).toBe(expected);
});

test.each(['', 'noon', '25:00', '14:99', '2026-02-30', '2026-13-01', '5', '-2h'])(
  '%j is refused with what would be right',
  (text) => {
    expect(() => whenText(text, NOW)).toThrow(/Give a time: 14:32/);
  },
);
