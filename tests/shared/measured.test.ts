import { expect, test } from 'vitest';
import { fnv1a, MEASURABLE, measuredOf } from '../../src/shared/measured.ts';

// The test vectors that the authors give for 32-bit FNV-1a (draft-eastlake-fnv, from memory).
test.each([
  ['', '811c9dc5'],
  ['a', 'e40c292c'],
  ['b', 'e70c2de5'],
  ['foobar', 'bf9cf968'],
])('the hash of %j', (text, hash) => {
  expect(fnv1a(text)).toBe(hash);
});

const SERVO = {
  output: { board: 'head', pin: 18 },
  calibration: [
    [1000, -45],
    [2000, 45],
  ] as [number, number][],
  linkage: { hornMm: 20, flapMm: 30 },
};

test('a measured calibration is void with another pin, board, point or linkage, and with nothing else', () => {
  const of = measuredOf('calibration', SERVO);
  for (const other of [
    { ...SERVO, output: { board: 'head', pin: 19 } },
    { ...SERVO, output: { board: 'body', pin: 18 } },
    {
      ...SERVO,
      calibration: [
        [1000, -45],
        [2000, 46],
      ] as [number, number][],
    },
    { ...SERVO, calibration: [...SERVO.calibration, [2100, 50]] as [number, number][] },
    { ...SERVO, linkage: { hornMm: 21, flapMm: 30 } },
    { ...SERVO, linkage: undefined },
  ])
    expect(measuredOf('calibration', other)).not.toBe(of);
  for (const same of [
    { ...SERVO, calibration: [...SERVO.calibration].reverse() },
    { ...SERVO, output: { pin: 18, board: 'head' } },
    { ...SERVO, output: { board: 'head', pin: 18, pull: 'up' } },
    { ...SERVO, linkage: { flapMm: 30, hornMm: 20 } },
    { ...SERVO, whiteBalance: [1, 1, 1] },
  ])
    expect(measuredOf('calibration', same)).toBe(of);
});

test('each measurement has a digest of its own, which YAML takes for text', () => {
  const all = MEASURABLE.map((what) => measuredOf(what, SERVO));
  expect(new Set(all).size).toBe(all.length);
  for (const one of all) expect(one).toMatch(/^m[0-9a-f]{8}$/);
});

test('what was exchanged between two pins is another thing', () => {
  const light = { output: { board: 'head', pins: [5, 6, 13] } };
  const swapped = { output: { board: 'head', pins: [6, 5, 13] } };
  expect(measuredOf('colours', swapped)).not.toBe(measuredOf('colours', light));
});
