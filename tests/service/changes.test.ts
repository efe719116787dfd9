import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { changesBetween } from '../../src/service/changes.ts';
import { OWLET } from './owlet.ts';

const between = (from: string, to: string, captured: string[][] = []) => {
  expect(OWLET).toContain(from);
  return changesBetween(parse(OWLET), parse(OWLET.replace(from, to)), captured);
};

test('nothing differs from itself', () => {
  expect(changesBetween(parse(OWLET), parse(OWLET))).toMatchObject({ list: [], whenParked: false });
});

describe('at once', () => {
  test.each<[string, string, string]>([
    ['name: Foyer owl', 'name: Night owl', 'name: "Foyer owl" becomes "Night owl"'],
    ['open: 30 }', 'open: 31.5 }', 'marks.open of beak: 30 becomes 31.5'],
    ['open: 30 }', 'open: 30, half: 15 }', 'marks.half of beak: 15 is added'],
    [
      'park: { to: shut, then: release }',
      'park: { to: open, then: release }',
      'park.to of beak: "shut" becomes "open"',
    ],
    ['label: W07', 'label: W08', 'wire.label of beak: "W07" becomes "W08"'],
    ['overS: 1.2', 'overS: 1.3', 'cue wake: changed'],
    ['  drowse:\n    - { at: 0, pose: asleep }\n', '', 'cue drowse: gone'],
    ['face: [beak, lid_left]', 'face: [beak]', 'group face: changed'],
    ['lid_left: shut, beak: shut }', 'lid_left: shut }', 'pose asleep: changed'],
    ['daily: "10:00"', 'daily: "11:00"', 'trigger opening: changed'],
    ['pin: 22 }, cue: wake', 'pin: 22 }, cue: drowse', 'trigger button: changed'],
  ])('%s -> %s', (from, to, line) => {
    expect(between(from, to)).toMatchObject({ list: [line], whenParked: false });
  });
});

describe('only when parked', () => {
  test.each<[string, string, string]>([
    ['limitsDeg: [-5, 35]', 'limitsDeg: [-5, 34]', 'limitsDeg of beak: [-5, 35] becomes [-5, 34]'],
    [
      '[[1000, -45], [1500, 0], [2000, 45]]',
      '[[1000, -45], [2000, 45]]',
      'calibration of beak: [[1000, -45], [1500, 0], [2000, 45]] becomes [[1000, -45], [2000, 45]]',
    ],
    ['pin: 18', 'pin: 23', 'output.pin of beak: 18 becomes 23'],
    ['speedDegS: 120', 'speedDegS: 60', 'speedDegS of beak: 120 becomes 60'],
    [
      'park: { to: shut, then: release }',
      'park: { to: shut, then: hold }',
      'park.then of beak: "release" becomes "hold"',
    ],
    ['maxOnS: 20', 'maxOnS: 10', 'duty.maxOnS of mist: 20 becomes 10'],
    ['limitA: 5.0', 'limitA: 4', 'rails.servo6v.limitA: 5 becomes 4'],
    ['timeoutMs: 500', 'timeoutMs: 600', 'link.timeoutMs: 500 becomes 600'],
    [
      '  fan:',
      '  fin:\n    kind: relay\n    output: { board: head, pin: 5 }\n  fan:',
      'channel fin: added',
    ],
    ['pin: 22 }, cue', 'pin: 24 }, cue', 'trigger button: changed'],
    ['  button: { input: { board: head, pin: 22 }, cue: wake }\n', '', 'trigger button: gone'],
  ])('%s -> %s', (from, to, line) => {
    expect(between(from, to)).toMatchObject({ list: [line], whenParked: true });
  });

  test('channels in another order: the telemetry goes by it', () => {
    const data = parse(OWLET);
    const channels = Object.fromEntries(Object.entries(data.channels).reverse());
    expect(changesBetween(data, { ...data, channels })).toMatchObject({
      list: ['channels: in another order'],
      whenParked: true,
    });
  });
});

test('limits that were captured take effect at once, others of the same file do not', () => {
  const path = ['channels', 'beak', 'limitsDeg'];
  expect(between('[-5, 35]', '[-5, 34]', [path]).whenParked).toBe(false);
  expect(between('speedDegS: 120', 'speedDegS: 60', [path]).whenParked).toBe(true);
});

test('a list is bounded, and says how much more there is', () => {
  const many = Object.fromEntries(Array.from({ length: 500 }, (_, i) => [`m${i}`, i]));
  const data = parse(OWLET);
  const after = structuredClone(data);
  after.channels.beak.marks = many;
  const { list } = changesBetween(data, after);
  expect(list).toHaveLength(41);
  expect(list.at(-1)).toBe('and 462 more');
});
