import { describe, expect, test } from 'vitest';
import {
  ACTS,
  type CueStep,
  childrenOf,
  fadeOf,
  stepWords,
  touchesOf,
  valuesOf,
} from '../../src/prop/steps.ts';

const named = {
  poses: { awake: { lid: 30, eye: 'orange', mist: 'on' } },
  groups: { wings: ['left', 'right'] },
  channels: { neck: {} },
  performed: {
    nod: {
      take: {
        servos: [
          { name: 'neck', timesS: [0, 1], deg: [5, 25] },
          { name: 'gone', timesS: [0], deg: [0] },
        ],
      },
    },
    lost: { wrong: 'lost.take is not beside the prop file', right: 'put it there' },
  },
};
const step: CueStep = {
  at: 0,
  pose: 'awake',
  move: { wings: { around: 10, spread: 2 }, beak: 'open' },
  colour: { eye: 'red' },
  dim: { lantern: 0.5 },
  switch: { fan: 'off' },
};

describe('what a step touches', () => {
  test('is told with its place: the pose first, groups by their members', () => {
    expect([...touchesOf(named, step)]).toEqual([
      { channels: ['lid'], to: 30, part: 'pose', at: ['pose'] },
      { channels: ['eye'], to: 'orange', part: 'pose', at: ['pose'] },
      { channels: ['mist'], to: 'on', part: 'pose', at: ['pose'] },
      {
        channels: ['left', 'right'],
        to: { around: 10, spread: 2 },
        part: 'move',
        at: ['move', 'wings'],
      },
      { channels: ['beak'], to: 'open', part: 'move', at: ['move', 'beak'] },
      { channels: ['lantern'], to: 0.5, part: 'dim', at: ['dim', 'lantern'] },
      { channels: ['eye'], to: 'red', part: 'colour', at: ['colour', 'eye'] },
      { channels: ['fan'], to: 'off', part: 'switch', at: ['switch', 'fan'] },
    ]);
  });

  test('without its moves is a value for each channel', () => {
    const values = [...valuesOf(named, step)].map(({ channel, to }) => [channel, to]);
    expect(values.slice(3)).toEqual([
      ['lantern', 0.5],
      ['eye', 'red'],
      ['fan', 'off'],
    ]);
  });

  test('with a take is the range of each of its servos that the prop has', () => {
    const touches = [...touchesOf(named, { at: 0, take: 'nod' })];
    expect(touches).toEqual([
      { channels: ['neck'], to: { around: 15, spread: 10 }, part: 'take', at: ['take'] },
    ]);
    expect([...touchesOf(named, { at: 0, take: 'lost' })]).toEqual([]);
    expect([...touchesOf(named, { at: 0, take: 'toString' })]).toEqual([]);
    expect([...valuesOf(named, { at: 0, take: 'nod' })]).toEqual([]);
  });

  test('leaves out a pose that is not there', () => {
    expect([...touchesOf(named, { at: 0, pose: 'toString' })]).toEqual([]);
  });
});

test('the cues within a step, and where it names them', () => {
  expect(childrenOf({ at: 0 })).toEqual([]);
  expect(childrenOf({ at: 0, cue: 'blink' })).toEqual([{ cue: 'blink', at: ['cue'] }]);
  expect(childrenOf({ at: 0, choose: ['a', 'b'] })).toEqual([
    { cue: 'a', at: ['choose', 0] },
    { cue: 'b', at: ['choose', 1] },
  ]);
});

test('the lights of a pose take as long as its servos, unless a fade is given', () => {
  expect(fadeOf({ at: 0, pose: 'awake', overS: 3 })).toBe(3);
  expect(fadeOf({ at: 0, pose: 'awake', overS: 3, fadeS: 1 })).toBe(1);
  expect(fadeOf({ at: 0, colour: { eye: 'red' }, overS: 3 })).toBe(0);
});

test('every act has its words', () => {
  const until = { channel: 'lid', above: 5, withinS: 1, otherwise: 'end' as const };
  const acts: Record<(typeof ACTS)[number], Partial<CueStep>> = {
    move: { move: { lid: 3 } },
    pose: { pose: 'awake' },
    take: { take: 'nod' },
    colour: { colour: { eye: 'red' } },
    dim: { dim: { lantern: 1 } },
    switch: { switch: { fan: 'on' } },
    sound: { sound: { voice: 'hoot' } },
    until: { until },
    cue: { cue: 'blink' },
    choose: { choose: ['a', 'b'] },
  };
  for (const act of ACTS) expect(stepWords({ at: 0, ...acts[act] }), act).not.toBe('');
});
