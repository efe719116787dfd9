import { describe, expect, it } from 'vitest';
import {
  acts,
  addStep,
  begin,
  blockS,
  blocksOf,
  changed,
  comesAfter,
  copyAt,
  differing,
  dropPart,
  FLOW_ROW,
  foreignKeys,
  type Known,
  linesOf,
  marksOf,
  meet,
  moveStep,
  newStep,
  POSE_ROW,
  redone,
  removeStep,
  rowsOf,
  type Steps,
  setAfter,
  setKey,
  setName,
  setTarget,
  snapped,
  stepsOf,
  stepWords,
  stretch,
  TAKE_ROW,
  timesOf,
  undone,
  withKey,
} from '../../src/gateway/page/cues-model.ts';

/** The cue `wake` and the cue `glance` of config/owl.yaml, as the file has them. */
const WAKE: Steps = [
  { at: 0, move: { lid_left: 'open', lid_right: 'open' }, overS: 1.2 },
  { at: 0.5, colour: { eye_left: 'oklch(75% 0.15 80)' }, fadeS: 1 },
  { at: 1.5, move: { tail: 'open' } },
  { at: 2.5, switch: { mist: 'on' }, forS: 4 },
];
const GLANCE: Steps = [
  { name: 'aside', at: 0, move: { head_turn: { around: 0, spread: 20 } }, overS: 1.2 },
  { after: 'aside', at: 0.8, spreadS: 1.5, move: { head_turn: 'ahead' }, overS: 1.4 },
];

const KNOWN: Known = {
  channels: {
    beak: { part: 'move', limitsDeg: [-5, 35], marks: { shut: 0, open: 30 } },
    head_turn: { part: 'move', limitsDeg: [-40, 40] },
    tail_1: { part: 'move', limitsDeg: [0, 60], marks: { half: 30, open: 55 } },
    tail_2: { part: 'move', limitsDeg: [0, 50], marks: { open: 45 } },
    mist: { part: 'switch' },
    eye: { part: 'colour' },
    lantern: { part: 'dim' },
    speaker: {},
  },
  groups: { tail: ['tail_1', 'tail_2'] },
  poses: ['asleep'],
  cues: ['wake', 'blink'],
  takes: ['wave'],
};

describe('what is shown', () => {
  it('reads a cue in its short and its long form, and nothing else', () => {
    expect(stepsOf(WAKE)).toBe(WAKE);
    expect(stepsOf({ clash: 'refuse', steps: WAKE })).toBe(WAKE);
    for (const other of [undefined, null, 3, 'x', {}, [1], { steps: [null] }])
      expect(stepsOf(other)).toBeUndefined();
  });

  it('has a block for every channel, and one row for each', () => {
    expect(blocksOf(WAKE).map(({ step, row, words }) => [step, row, words])).toEqual([
      [0, 'lid_left', 'to open'],
      [0, 'lid_right', 'to open'],
      [1, 'eye_left', 'to oklch(75% 0.15 80)'],
      [2, 'tail', 'to open'],
      [3, 'mist', 'on'],
    ]);
    expect(rowsOf(WAKE)).toEqual(['lid_left', 'lid_right', 'eye_left', 'tail', 'mist']);
    expect(rowsOf(WAKE, ['beak', 'mist'])).toEqual([
      ...['lid_left', 'lid_right', 'eye_left', 'tail', 'mist', 'beak'],
    ]);
  });

  it('puts what belongs to no channel first', () => {
    const steps: Steps = [
      { at: 0, move: { beak: 5 } },
      { at: 0, pose: 'asleep' },
      { at: 1, until: { channel: 'beak', above: -3, withinS: 2 } },
      { at: 1, choose: ['a', 'b'], times: 3 },
      { at: 1, cue: 'a', times: 'until stopped' },
      { at: 2, take: 'wave', rate: 2, times: 3 },
    ];
    expect(rowsOf(steps)).toEqual([FLOW_ROW, POSE_ROW, TAKE_ROW, 'beak']);
    expect(steps.map(stepWords)).toEqual([
      'beak to 5°',
      'pose asleep',
      'wait for beak above −3°',
      'one of a, b, 3 times',
      'cue a, until stopped',
      'take wave at 2 times its speed, 3 times',
    ]);
  });

  it('shows a step of a later release, which it leaves to the file', () => {
    const steps: Steps = [{ at: 1, scent: 'pine', puffs: 2 }];
    expect(foreignKeys(steps[0]!)).toEqual(['scent', 'puffs']);
    expect(blocksOf(steps)[0]).toMatchObject({ row: FLOW_ROW, words: 'scent pine' });
    expect(moveStep(steps, 0, 0.5)).toEqual([{ at: 1.5, scent: 'pine', puffs: 2 }]);
    expect(acts(steps[0]!)).toBe(true);
    // A step that does nothing is within reach as well.
    expect(blocksOf([{ at: 0 }])).toHaveLength(1);
    expect(acts({ at: 0, name: 'x' })).toBe(false);
  });
});

describe('times', () => {
  it('are those of the file, and follow the step before', () => {
    expect(timesOf(WAKE).map(({ startS, endS }) => [startS, endS])).toEqual([
      [0, 1.2],
      [0.5, 1.5],
      [1.5, 1.5],
      [2.5, 6.5],
    ]);
    expect(timesOf(GLANCE)[1]).toEqual({ startS: 2, endS: 3.4, spreadS: 1.5, never: false });
  });

  it('take the length of the rehearsal where the file has none or a shorter one', () => {
    expect(timesOf(WAKE, [1.31, 1, 0.62, 4])[2]).toMatchObject({ startS: 1.5, endS: 2.12 });
    expect(timesOf(GLANCE, [1.5])[1]).toMatchObject({ startS: 2.3 });
    expect(blockS(WAKE[2]!, 'move', 0.62)).toBe(0.62);
    expect(blockS(WAKE[0]!, 'move', 1.31)).toBe(1.2);
    expect(blockS({ at: 0, switch: { mist: 'on' } }, 'switch', 1)).toBe(0);
  });

  it('say so where a step never starts', () => {
    const lost: Steps = [
      { after: 'nobody', move: { beak: 1 } },
      { name: 'a', after: 'b', move: { beak: 1 } },
      { name: 'b', after: 'a', move: { beak: 1 } },
      { name: 'c', after: 'c', move: { beak: 1 } },
    ];
    expect(timesOf(lost).map(({ never }) => never)).toEqual([true, true, true, true]);
  });
});

it('nothing in a row covers anything else in it', () => {
  const spans = [
    { startS: 1, endS: 3 },
    { startS: 2, endS: 6 },
    { startS: 3, endS: 4 },
    { startS: 0, endS: 0 },
    { startS: 0.2, endS: 0.3 },
  ];
  expect(linesOf(spans, 0.1)).toEqual([0, 1, 0, 0, 0]);
  expect(linesOf(spans, 0.5)).toEqual([0, 1, 0, 0, 1]);
  expect(linesOf([], 1)).toEqual([]);
});

describe('changes', () => {
  it('touch only the key in question, and only the step in question', () => {
    const moved = moveStep(WAKE, 1, 0.25);
    expect(moved[1]).toEqual({ ...WAKE[1], at: 0.75 });
    expect(Object.keys(moved[1]!)).toEqual(['at', 'colour', 'fadeS']);
    for (const at of [0, 2, 3]) expect(moved[at]).toBe(WAKE[at]);
    expect(moveStep(WAKE, 1, -9)[1]!.at).toBe(0);
    expect(moveStep(WAKE, 0, 0)).toBe(WAKE);
  });

  it('a step after another is moved against its end, and not before it', () => {
    expect(moveStep(GLANCE, 1, 0.2)[1]!.at).toBe(1);
    expect(Object.hasOwn(moveStep(GLANCE, 1, -5)[1]!, 'at')).toBe(false);
  });

  it('stretch what says how long a part takes', () => {
    expect(stretch(WAKE, 0, 'move', 2)[0]!.overS).toBe(2);
    expect(stretch(WAKE, 2, 'move', 0.7)[2]).toEqual({
      at: 1.5,
      move: { tail: 'open' },
      overS: 0.7,
    });
    expect(stretch(WAKE, 1, 'colour', 0)[1]!.fadeS).toBe(0);
    expect(stretch(WAKE, 3, 'switch', -1)[3]!.forS).toBe(0.05);
    const wait: Steps = [{ at: 0, until: { channel: 'beak', above: 1, withinS: 2 } }];
    expect(stretch(wait, 0, 'until', 3)[0]!.until).toEqual({
      channel: 'beak',
      above: 1,
      withinS: 3,
    });
    expect(stretch(WAKE, 0, 'cue', 3)).toBe(WAKE);
  });

  it('take a part out with the lengths that then belong to nothing', () => {
    const one = setTarget(WAKE, 0, 'move', 'lid_left', undefined);
    expect(one[0]).toEqual({ at: 0, move: { lid_right: 'open' }, overS: 1.2 });
    expect(setTarget(one, 0, 'move', 'lid_right', undefined)[0]).toEqual({ at: 0 });
    const both: Steps = [{ at: 0, move: { beak: 1 }, pose: 'asleep', overS: 2, fadeS: 1 }];
    expect(dropPart(both, 0, 'move')[0]).toEqual({ at: 0, pose: 'asleep', overS: 2, fadeS: 1 });
  });

  it('a key that comes stands where makers look for it', () => {
    expect(Object.keys(withKey({ at: 0, switch: {} }, 'move', {}))).toEqual([
      'at',
      'move',
      'switch',
    ]);
    expect(Object.keys(withKey({ at: 0, move: {} }, 'name', 'x'))).toEqual(['name', 'at', 'move']);
    expect(Object.keys(withKey({ at: 0, scent: 'x' }, 'overS', 1))).toEqual([
      ...['at', 'scent', 'overS'],
    ]);
  });

  it('a new step stands where its time says', () => {
    const { steps, at } = addStep(WAKE, { at: 1.5, move: { beak: 'open' } });
    expect(at).toBe(3);
    expect(steps.map((step) => step.at)).toEqual([0, 0.5, 1.5, 1.5, 2.5]);
    expect(addStep(WAKE, { at: 0 }).at).toBe(1);
    expect(addStep([], { at: 3 }).at).toBe(0);
  });

  it('a copy has no name, and comes after no other', () => {
    expect(copyAt(GLANCE[1]!, 4.0004)).toEqual({
      at: 4,
      spreadS: 1.5,
      move: { head_turn: 'ahead' },
      overS: 1.4,
    });
  });

  it('what came after a step that is removed starts when it did', () => {
    expect(removeStep(GLANCE, 0)).toEqual([
      { at: 2, spreadS: 1.5, move: { head_turn: 'ahead' }, overS: 1.4 },
    ]);
    expect(removeStep(GLANCE, 0, [1.5])[0]!.at).toBe(2.3);
    expect(removeStep(WAKE, 1)).toEqual([WAKE[0], WAKE[2], WAKE[3]]);
    // Of two with the same name the other one is still there.
    const twins: Steps = [{ name: 'x', at: 0 }, { name: 'x', at: 1 }, { after: 'x' }];
    expect(removeStep(twins, 0)[1]!.after).toBe('x');
  });

  it('one step after another keeps its time, and the other gets a name', () => {
    const steps = setAfter(WAKE, 2, 0);
    expect(steps[0]!.name).toBe('step_1');
    expect(steps[2]).toEqual({ at: 0.3, after: 'step_1', move: { tail: 'open' } });
    expect(timesOf(steps)[2]!.startS).toBe(1.5);
    expect(setAfter(steps, 2, undefined)[2]).toEqual(WAKE[2]);
    // No circle.
    expect(comesAfter(steps, 2, 0)).toBe(true);
    expect(setAfter(steps, 0, 2)).toBe(steps);
    expect(setAfter(steps, 1, 1)).toBe(steps);
  });

  it('a name is changed everywhere', () => {
    expect(setName(GLANCE, 0, 'look')[1]!.after).toBe('look');
    const none = setName(GLANCE, 0, '');
    expect(none[0]).not.toHaveProperty('name');
    expect(none[1]).toMatchObject({ at: 2 });
    expect(none[1]).not.toHaveProperty('after');
  });

  it('snap to a grid', () => {
    expect(snapped(1.26, 0.1)).toBe(1.3);
    expect(snapped(0.149, 0.1)).toBe(0.1);
    expect(snapped(0.30000000000000004, 0.01)).toBe(0.3);
    expect(snapped(-1, 0.1)).toBe(0);
  });
});

describe('a new step', () => {
  it.each([
    ['beak', { at: 1, move: { beak: 'open' }, overS: 1 }],
    ['head_turn', { at: 1, move: { head_turn: 0 }, overS: 1 }],
    ['tail', { at: 1, move: { tail: 'open' }, overS: 1 }],
    ['mist', { at: 1, switch: { mist: 'on' }, forS: 2 }],
    ['eye', { at: 1, colour: { eye: 'moccasin' }, fadeS: 1 }],
    ['lantern', { at: 1, dim: { lantern: 0.5 }, fadeS: 1 }],
    [POSE_ROW, { at: 1, pose: 'asleep', overS: 1 }],
    [FLOW_ROW, { at: 1, cue: 'blink' }],
    [TAKE_ROW, { at: 1, take: 'wave' }],
    ['speaker', undefined],
    ['nobody', undefined],
  ])('in the row %s', (row, step) => {
    expect(newStep(row, 1, KNOWN, 'wake')).toEqual(step);
  });

  it('of a group has a mark that all its members have', () => {
    expect(marksOf('tail', KNOWN)).toEqual(['open']);
    expect(marksOf('head_turn', KNOWN)).toEqual([]);
  });

  it('without another cue is a wait', () => {
    expect(newStep(FLOW_ROW, 0, { ...KNOWN, cues: ['wake'] }, 'wake')).toEqual({
      at: 0,
      until: { channel: 'beak', above: 15, withinS: 5 },
    });
  });
});

describe('undo and redo', () => {
  it('go back and forth, a gesture at a time', () => {
    let history = begin(WAKE);
    history = changed(history, moveStep(WAKE, 1, 0.1), 'drag 1');
    history = changed(history, moveStep(WAKE, 1, 0.3), 'drag 1');
    history = changed(history, moveStep(history.now, 0, 1), 'drag 2');
    expect(history.past).toHaveLength(2);
    history = undone(history);
    expect(history.now[1]!.at).toBe(0.8);
    history = undone(history);
    expect(history.now).toBe(WAKE);
    expect(undone(history).now).toBe(WAKE);
    history = redone(redone(history));
    expect(history.now.map((step) => step.at)).toEqual([1, 0.8, 1.5, 2.5]);
    expect(redone(history).now).toBe(history.now);
  });

  it('nothing can be done again after another change', () => {
    const back = undone(changed(begin(WAKE), moveStep(WAKE, 0, 1)));
    expect(changed(back, moveStep(WAKE, 0, 2)).future).toEqual([]);
    expect(changed(back, [...WAKE])).toBe(back);
    // A gesture that was undone is over.
    const again = changed(undone(changed(begin(WAKE), moveStep(WAKE, 0, 1), 'a')), [], 'a');
    expect(again.past).toHaveLength(1);
  });
});

describe('two people', () => {
  const other = moveStep(WAKE, 0, 5);
  const mine = setKey(WAKE, 2, 'overS', 3);
  it.each([
    ['the file has the cue as it was', WAKE, mine, WAKE, 'go on'],
    ['nothing was changed here', WAKE, WAKE, other, 'take over'],
    ['both made the same of it', WAKE, mine, structuredClone(mine), 'take over'],
    ['both changed it', WAKE, mine, other, 'ask'],
    ['it was removed there, and changed here', WAKE, mine, undefined, 'ask'],
    ['it was removed there, and not changed here', WAKE, WAKE, undefined, 'take over'],
    ['it is new here', undefined, mine, undefined, 'go on'],
    ['it is new on both sides', undefined, mine, other, 'ask'],
  ])('%s', (_, base, now, theirs, what) => {
    expect(meet(base, now, theirs)).toBe(what);
  });

  it('sends only the steps that differ', () => {
    expect(differing(WAKE, mine)).toEqual({ from: 2, count: 1, steps: [mine[2]] });
    expect(differing(WAKE, addStep(WAKE, { at: 9 }).steps)).toEqual({
      from: 4,
      count: 0,
      steps: [{ at: 9 }],
    });
    expect(differing(WAKE, removeStep(WAKE, 0))).toEqual({ from: 0, count: 1, steps: [] });
    expect(differing(WAKE, WAKE)).toEqual({ from: 4, count: 0, steps: [] });
    const twice: Steps = [{ at: 1 }, { at: 1 }];
    expect(differing(twice, [{ at: 1 }, { at: 1 }, { at: 1 }])).toMatchObject({ count: 0 });
  });
});
