import { describe, expect, test } from 'vitest';
import type { Driver } from '../../src/boards/board.ts';
import { Body } from '../../src/core/body.ts';
import { flatGroups, MAX_GROUP_DEPTH, MAX_MEMBERS } from '../../src/prop/groups.ts';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { rehearse } from '../../src/rehearsal/rehearse.ts';
import { changesBetween } from '../../src/service/changes.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

const THREE = `a: ${servo(9)}\n  b: ${servo(10)}\n  c: ${servo(11)}`;

function sound(text: string) {
  const loaded = parseProp(text, 'f.yaml');
  expect(loaded.findings.filter(({ severity }) => severity === 'error')).toEqual([]);
  return loaded.prop!;
}

describe('groups within groups', () => {
  test('the prop has the channels alone, the file keeps the groups', () => {
    const text = propText(
      THREE,
      'groups: { all: [side, c], side: [a, b], both: [side, all] }\npark: { stages: [[c], [side]] }',
    );
    const loaded = parseProp(text, 'f.yaml');
    expect(loaded.findings).toEqual([]);
    expect(loaded.prop!.groups).toEqual({
      all: ['a', 'b', 'c'],
      side: ['a', 'b'],
      both: ['a', 'b', 'c'],
    });
    expect(Object.keys(loaded.prop!.groups)).toEqual(['all', 'side', 'both']);
    expect(loaded.prop!.park.stages).toEqual([['c'], ['a', 'b']]);
    // An edit of a channel goes on what is written, and comes to the same.
    const edited = editProp(loaded, [{ path: ['channels', 'a', 'park', 'to'], value: 5 }]);
    expect(edited.text).toContain('all: [side, c]');
    expect(edited.prop!.groups).toEqual(loaded.prop!.groups);
    expect(edited.prop!.park.stages).toEqual([['c'], ['a', 'b']]);
    const changed = editProp(loaded, [{ path: ['groups', 'side'], value: ['b'] }]);
    expect(changed.prop!.groups.all).toEqual(['b', 'c']);
    expect(changed.prop!.park.stages).toEqual([['c'], ['b']]);
  });

  test('a cue moves the channels of all groups within', () => {
    expectFindings(
      propText(
        THREE,
        'groups: { all: [side, c], side: [a, b] }\ncues: { w: [{ at: 0, move: { all: 10, »b: 5 } }] }',
      ),
      [{ wrong: 'b is moved by all in this step, too' }],
    );
  });

  test('a change of a group that parks takes effect when the prop is parked', () => {
    const raw = (side: string[], stages: string[][]) => ({ groups: { side }, park: { stages } });
    const among = changesBetween(raw(['a'], [['c']]), raw(['a', 'b'], [['c']]));
    expect(among.whenParked).toBe(false);
    const parking = changesBetween(raw(['a'], [['side']]), raw(['a', 'b'], [['side']]));
    expect(parking.whenParked).toBe(true);
  });

  test('circles are named', () => {
    expectFindings(propText(THREE, 'groups: { x: [y], y: [a, z], z: [»x], w: [»w, b] }'), [
      { path: 'groups.z[0]', wrong: 'the groups contain each other: x -> y -> z -> x' },
      { path: 'groups.w[0]', wrong: 'group w contains itself' },
    ]);
  });

  test('a circle is told however long it is, and a chain that is too long', () => {
    const ring = Object.fromEntries(
      Array.from({ length: 2000 }, (_, i) => [`g${i}`, [`g${(i + 1) % 2000}`]]),
    );
    expect(flatGroups(ring).problems.length).toBeGreaterThan(0);
    for (const up of [true, false]) {
      const entries = Array.from({ length: MAX_GROUP_DEPTH + 1 }, (_, i): [string, string[]] => [
        `g${i}`,
        [i === 0 ? 'a' : `g${i - 1}`],
      ]);
      const groups = (count: number) =>
        Object.fromEntries(up ? entries.slice(0, count) : entries.slice(0, count).reverse());
      expect(flatGroups(groups(MAX_GROUP_DEPTH)).problems).toEqual([]);
      expect(flatGroups(groups(MAX_GROUP_DEPTH + 1)).problems).toHaveLength(1);
    }
  });

  test('groups that multiply end', () => {
    const many = Array.from({ length: 1000 }, (_, i) => `c${i}`);
    const groups = {
      base: many,
      ...Object.fromEntries(Array.from({ length: 5000 }, (_, i) => [`g${i}`, ['base', `x${i}`]])),
    };
    const { tooMany } = flatGroups(groups);
    expect(tooMany).toBe(true);
    expect(flatGroups({ base: many.slice(0, 10), all: ['base'] }).tooMany).toBe(false);
    expect(MAX_MEMBERS).toBeLessThan(1e5);
  });

  test('a group of groups has servos alone, each name once', () => {
    expectFindings(
      propText(
        `a: ${servo(9)}\n  r: ${relay(17)}`,
        'groups: { g: [a, »r], h: [g, »g], k: [»none] }',
      ),
      [
        { wrong: 'r is a relay' },
        { wrong: 'g is in this group already' },
        { wrong: 'there is no channel none' },
      ],
    );
  });

  test('two stages with one channel', () => {
    expectFindings(propText(THREE, 'groups: { g: [a, b] }\npark: { stages: [[g], [»b], [c]] }'), [
      { wrong: 'b parks in an earlier place already, with g' },
    ]);
  });

  test('the core moves and parks them', async () => {
    const prop = sound(
      propText(
        THREE,
        'groups: { all: [side, c], side: [a, b] }\npark: { stages: [[all]] }\ncues: { w: [{ at: 0, move: { all: 20 } }] }',
      ),
    );
    const { tracks } = await rehearse(prop, 'w');
    expect(tracks.map(({ value }) => value.at(-1))).toEqual([20, 20, 20]);
    // One list of times: they start and arrive together.
    expect(tracks[1]!.tS).toEqual(tracks[0]!.tS);
    expect(tracks[2]!.tS).toEqual(tracks[0]!.tS);
    const body = Body.of(
      { ...prop, cueDurationsS: {} },
      new Map([['head', { pulseStepUs: 1 } as Driver]]),
    );
    expect(body.groups.get('all')!.map(({ name }) => name)).toEqual(['a', 'b', 'c']);
    expect(() => body.servo('side')).toThrow('side is a group: use group.move');
  });
});

describe('a group where a channel belongs', () => {
  test.each([
    ['poses: { p: { »g: 3 } }'],
    ['cues: { w: [{ at: 0, switch: { »g: on } }] }'],
    ['cues: { w: [{ at: 0, until: { channel: »g, above: 3, withinS: 2 } }] }'],
    ['idle: {}\ntriggers: {}\ncues: { w: [{ at: 0, colour: { »g: red } }] }'],
  ])('%s', (rest) => {
    expectFindings(propText(THREE, `groups: { g: [a, b] }\n${rest}`), [
      { wrong: 'g is a group, but a channel belongs here', right: 'name its channels: a, b' },
    ]);
  });
});
