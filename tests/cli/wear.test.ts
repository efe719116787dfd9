import { expect, test } from 'vitest';
import type { WearInfo } from '../../src/api/types.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const here = setting('test');

const NOTHING = {
  ...{ cycles: 0, travelDeg: 0, starts: 0, onS: 0, pushingS: 0, closures: 0, lightS: 0 },
};
const BEAK: WearInfo = {
  ...{ name: 'beak', kind: 'servo' },
  counts: { ...NOTHING, cycles: 12.5, travelDeg: 700.2, starts: 26, onS: 5400, pushingS: 3.4 },
  maintain: [{ of: 'hours', count: 1.5, limit: 500 }],
  due: false,
  drift: {
    byDeg: 1.24,
    days: [
      { day: '2026-05-01', byDeg: 0 },
      { day: '2026-05-06', byDeg: 1.24 },
    ],
  },
};
const MIST: WearInfo = {
  ...{ name: 'mist', kind: 'relay', counts: { ...NOTHING, closures: 130, onS: 360 } },
  done: {
    ...{ time: '2026-05-06T09:00:00.000Z', who: 'Ann', note: 'new disc' },
    counts: { ...NOTHING, closures: 20, onS: 180 },
  },
  sinceDone: { ...NOTHING, closures: 110, onS: 180 },
  maintain: [{ of: 'closures', count: 110, limit: 100 }],
  due: true,
};
const OLD: WearInfo = {
  ...{ name: 'nose', kind: 'servo', counts: NOTHING, gone: '2026-05-05T09:00:00.000Z' },
};

/** The cells of each line of a table. */
const cellsOf = (text: string) =>
  text
    .trimEnd()
    .split('\n')
    .map((line) => line.trim().split(/ {2,}/));

test('lists what has worn each channel: what is due comes first, what was removed says so', async () => {
  const answer = { since: '2026-05-04T10:15:00.000Z', channels: [BEAK, MIST, OLD] };
  here.daemon.handlers['wear.read'] = () => answer;
  const { code, out, err } = await run(['wear'], here.daemon);
  expect({ code, err }).toEqual({ code: 0, err: '' });
  expect(cellsOf(out)).toEqual([
    ['counted since 2026-05-04'],
    expect.arrayContaining(['channel', 'pushing s', 'maintain at', 'maintained']),
    [
      ...['mist', '0.10', '130', 'DUE: 110 of 100 closures'],
      '2026-05-06 by Ann (new disc); since: 110 closures, 0.1 h',
    ],
    ['beak', '13', '700', '26', '1.50', '3', '+1.2 since 2026-05-01', '1.5 of 500 hours'],
    ['nose (removed 2026-05-05)'],
  ]);
  // It only looks: nobody loses the lease over it.
  expect(here.daemon.methods).toEqual(['wear.read']);
  const json = await run(['wear', '--json'], here.daemon);
  expect(JSON.parse(json.out)).toEqual(answer);
});

test('notes maintenance with the lease, and needs the name of a channel', async () => {
  here.daemon.handlers['wear.done'] = ({ channel, note }) => ({
    ...{ channel, time: '2026-05-06T09:00:00.000Z', who: 'ann', note, counts: NOTHING },
  });
  const { code, out } = await run(['wear', 'done', 'beak', '--note', 'new horn'], here.daemon);
  expect(code).toBe(0);
  expect(out).toContain('beak: maintained by ann, new horn');
  expect(here.daemon.methods.slice(0, 2)).not.toContain('wear.read');
  expect(here.daemon.methods.indexOf('lease.take')).toBeLessThan(
    here.daemon.methods.indexOf('wear.done'),
  );
  expect(here.daemon.called('wear.done')).toEqual([{ channel: 'beak', note: 'new horn' }]);
  const wrong = await run(['wear', 'done'], here.daemon);
  expect(wrong).toMatchObject({ code: 2, out: '' });
  expect(wrong.err).toContain('name the channel: sinew wear done beak');
  // While somebody else has control nothing is noted.
  here.daemon.holder = 'bob';
  const held = await run(['wear', 'done', 'beak'], here.daemon);
  expect(held.code).toBe(1);
  expect(held.err).toContain('bob holds the lease');
  expect(here.daemon.called('wear.done')).toHaveLength(1);
});
