import { describe, expect, test } from 'vitest';
import type { BoardInfo, ChannelInfo, ChannelState } from '../../src/api/types.ts';
import {
  type Filter,
  isBig,
  isFound,
  passes,
  placesOf,
  sectionsOf,
} from '../../src/gateway/page/find-channels.ts';

const servo: ChannelInfo = {
  kind: 'servo',
  value: 0,
  target: 0,
  flags: [],
  groups: ['tail'],
  wire: 'W12',
  rail: 'servo6v',
  marks: { shut: 0, open: 30 },
  park: { to: 'shut', then: 'release' },
};
const relay: ChannelInfo = {
  ...{ kind: 'relay', value: false, target: false, flags: [], groups: [] },
  park: { to: false },
};
const lit: ChannelInfo = {
  ...{ kind: 'rgb', value: '#000000', target: '#000000', flags: [], groups: [] },
  park: { to: 'black' },
};
const at = (value: ChannelState['value'], ...flags: string[]): ChannelState => ({
  value,
  target: value ?? 0,
  flags,
  amps: 0,
});
const hexOf = (css: string) => ({ black: '#000000' })[css];
const passed = (info: ChannelInfo, state: ChannelState, refused = false) =>
  (['moving', 'refused', 'away', 'lost'] as Filter[]).filter((filter) =>
    passes(filter, info, state, refused, hexOf),
  );

describe('filters', () => {
  test('a servo at its park position passes none, within what a person can tell', () => {
    expect(passed(servo, at(0))).toEqual([]);
    expect(passed(servo, at(0.04))).toEqual([]);
    expect(passed(servo, at(0.06))).toEqual(['away']);
  });

  test('one that moves, was refused, is held back or is limp', () => {
    expect(passed(servo, at(12, 'moving'))).toEqual(['moving', 'away']);
    expect(passed(servo, at(0), true)).toEqual(['refused']);
    expect(passed(servo, at(0, 'interlocked'))).toEqual(['refused']);
    expect(passed(relay, at(false, 'resting'))).toEqual(['refused']);
    expect(passed(servo, at(0, 'released'))).toEqual(['lost']);
  });

  test('nothing is claimed of a place that nobody knows', () => {
    expect(passed(servo, at(12, 'unknown'))).toEqual(['lost']);
    expect(passed(relay, at(null, 'unknown'))).toEqual(['lost']);
  });

  test('relays and lights are away from park while they are otherwise than there', () => {
    expect(passed(relay, at(true))).toEqual(['away']);
    expect(passed(lit, at('#000000'))).toEqual([]);
    expect(passed(lit, at('#00ff00'))).toEqual(['away']);
    // Its park colour cannot be told: then nothing is said.
    expect(passed({ ...lit, park: { to: 'lab(50 0 0)' } }, at('#00ff00'))).toEqual([]);
  });
});

describe('search', () => {
  const board: BoardInfo = {
    driver: 'sim',
    header: true,
    pins: Array.from({ length: 28 }, (_, pin) => ({
      pin,
      ...(pin === 18 && { use: 'tail_1' }),
      ...(pin === 5 && { use: 'eye.red' }),
      ...(pin === 6 && { use: 'eye.green' }),
    })),
  };
  const chip: BoardInfo = { driver: 'pca9685', header: false, pins: [{ pin: 3, use: 'tail_2' }] };
  const places = placesOf({ head: board, wing_chip: chip });
  const find = (text: string, name = 'tail_1') =>
    isFound(text, { name, info: servo, kind: 'Servos', places: places.get(name) ?? [] });

  // GPIO 18 is on pin 12 of the 40-pin header, GPIO 5 on pin 29, GPIO 6 on pin 31: the header's pin-out.
  test('knows where a channel is connected', () => {
    expect(places.get('tail_1')).toEqual(['head', 'GPIO 18', 'pin 12']);
    expect(places.get('eye')).toEqual(['head', 'GPIO 5', 'pin 29', 'GPIO 6', 'pin 31']);
    expect(places.get('tail_2')).toEqual(['wing_chip', 'output 3', 'pin 3']);
  });

  test.each(['', 'tail', 'TAIL_1', 'tail 1', 'w12', 'servo', 'servo6v', 'head', 'tail w12'])(
    'finds it by "%s"',
    (text) => {
      expect(find(text)).toBe(true);
    },
  );

  test('finds a pin by its number and no other', () => {
    expect(find('gpio 18')).toBe(true);
    expect(find('GPIO18')).toBe(true);
    expect(find('pin 12')).toBe(true);
    expect(find('gpio 1')).toBe(false);
    expect(find('gpio 12')).toBe(false);
    expect(find('tail gpio 18')).toBe(true);
    expect(find('beak gpio 18')).toBe(false);
  });

  test('every word must match', () => {
    expect(find('tail feeler')).toBe(false);
    // It is on GPIO 18 and wire W12, but called tail_1.
    expect(find('tail 18')).toBe(false);
  });
});

describe('sections', () => {
  const channels = {
    ...{ a: servo, b: servo, c: servo, d: { ...servo, groups: [] }, fan: relay },
  };
  const groups = { all: ['a', 'b', 'c'], pair: ['a', 'b'] };

  test('list every channel once, in the smallest of its groups, otherwise with its sort', () => {
    expect(sectionsOf(channels, groups, (kind) => `Other ${kind}s`)).toEqual([
      { title: 'all', group: 'all', names: ['c'], elsewhere: ['pair'] },
      { title: 'pair', group: 'pair', names: ['a', 'b'], elsewhere: [] },
      { title: 'Other servos', names: ['d'], elsewhere: [] },
      { title: 'Other relays', names: ['fan'], elsewhere: [] },
    ]);
  });

  test('a group whose members are all in smaller ones has no row of its own', () => {
    const [all] = sectionsOf(channels, { ...groups, rest: ['c'] }, String);
    expect(all).toEqual({ title: 'all', group: 'all', names: [], elsewhere: ['pair', 'rest'] });
  });
});

test('a prop of 16 channels is small, one of 17 is large', () => {
  const of = (count: number) =>
    Object.fromEntries(Array.from({ length: count }, (_, i) => [`s${i}`, servo]));
  expect(isBig(of(16))).toBe(false);
  expect(isBig(of(17))).toBe(true);
});
