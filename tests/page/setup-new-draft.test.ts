import { describe, expect, test } from 'vitest';
import {
  answersOf,
  type Choices,
  type Draft,
  EMPTY,
  FIRST,
  nextKey,
  readDraft,
  valueAndUnit,
  wrongText,
} from '../../src/gateway/page/setup-new-draft.ts';
import { readAnswers } from '../../src/proposal/answers.ts';
import { choices } from '../../src/proposal/choices.ts';

const all: Choices = choices();
const draft = (more: Partial<Draft['things']>, own: Partial<Draft> = {}): Draft => ({
  ...EMPTY,
  ...own,
  things: { ...EMPTY.things, ...more },
});

test('what the form begins with is a whole answer, and so is each thing that is added', () => {
  const things = Object.fromEntries(
    Object.entries(FIRST).map(([list, fields], key) => [list, [{ key, fields }]]),
  );
  for (const one of [EMPTY, draft(things)]) {
    const read = readAnswers(answersOf(one, all));
    expect(read).not.toHaveProperty('wrong');
  }
});

test('numbers are read as people write them; one cable is for all that have none of their own', () => {
  const answers = answersOf(
    draft(
      {
        moves: [
          { key: 1, fields: { name: 'left claw', count: '2', lengthM: '0,8 m', place: ' front ' } },
          { key: 2, fields: { name: 'tail', count: 'two', travelDeg: '' } },
        ],
      },
      { lengthM: '1.5' },
    ),
    all,
  );
  expect(answers.moves).toEqual([
    { name: 'left_claw', count: 2, lengthM: 0.8, place: 'front' },
    { name: 'tail', count: 'two', lengthM: 1.5 },
  ]);
});

test('fields that no longer belong to what was chosen are left out', () => {
  const relay = (fields: Record<string, string>) =>
    (answersOf(draft({ relays: [{ key: 1, fields }] }), all).relays as object[])[0];
  const more = { name: 'x', volts: '9', amps: '1', tankMl: '50' };
  expect(relay({ ...more, load: 'vapour' })).toEqual({ name: 'x', load: 'vapour', tankMl: 50 });
  expect(relay({ ...more, load: 'other' })).toEqual({
    name: 'x',
    load: 'other',
    volts: 9,
    amps: 1,
  });
  const supply = { volts: '6', amps: '5', capacityAh: '3' };
  const answers = (source: string) =>
    answersOf(draft({ supplies: [{ key: 1, fields: { ...supply, source } }] }), all).supplies;
  expect(answers('mains')).toEqual([{ volts: 6, amps: 5, source: 'mains' }]);
  expect(answers('battery')).toEqual([{ volts: 6, amps: 5, source: 'battery', capacityAh: 3 }]);
});

test('a loudspeaker has no cable from the board', () => {
  const voice = draft({ sounds: [{ key: 2, fields: { name: 'big voice' } }] }, { lengthM: '2' });
  expect(answersOf(voice, all).sounds).toEqual([{ name: 'big_voice' }]);
  expect(readAnswers(answersOf(voice, all))).not.toHaveProperty('wrong');
});

describe('what is wrong', () => {
  test('is said by the name of the thing and the label of its field', () => {
    const one = draft({
      moves: [{ key: 1, fields: { name: 'flap', count: '0', travelDeg: '900' } }],
    });
    const read = readAnswers(answersOf(one, all)) as { wrong: string[] };
    expect(read.wrong.map((line) => wrongText(line, one))).toEqual([
      'flap, how many: is below 1; give how many, 1 to 64',
      'flap, how far it moves: is above 120; give degrees from one end to the other, 5 to 120',
    ]);
    const none = draft({ moves: [] });
    const empty = readAnswers(answersOf(none, all)) as { wrong: string[] };
    expect(wrongText(empty.wrong[0]!, none)).toBe(
      'The list names nothing that moves, lights, switches or sounds; give one such thing',
    );
    const many = draft({
      lights: [{ key: 1, fields: { name: 'star', count: '25', kind: 'rgb' } }],
    });
    const crowd = readAnswers(answersOf(many, all)) as { wrong: string[] };
    expect(wrongText(crowd.wrong[0]!, many)).toMatch(/^star, how many: is above 24/);
  });
});

test('values stand apart from their units', () => {
  expect(valueAndUnit('7.5 A')).toEqual(['7.5', 'A']);
  expect(valueAndUnit('30/60 s')).toEqual(['30/60', 's']);
  expect(valueAndUnit('120 deg/s')).toEqual(['120', 'deg/s']);
  expect(valueAndUnit('main 5')).toEqual(['main 5', '']);
  expect(valueAndUnit('flap_1 flap_2')).toEqual(['flap_1 flap_2', '']);
});

test('a draft that was kept comes back; what is none is no draft', () => {
  const kept = JSON.parse(JSON.stringify(draft({ lights: [{ key: 7, fields: FIRST.lights }] })));
  expect(readDraft(kept)).toEqual(kept);
  expect(nextKey(kept)).toBe(8);
  const { sounds: _, ...before } = kept.things;
  expect(readDraft({ ...kept, things: before })).toEqual(kept);
  for (const broken of [
    ...[undefined, null, 5, 'x', [], {}, { ...kept, things: null }],
    ...[
      { ...kept, changes: { a: 1 } },
      { ...kept, things: { ...kept.things, moves: [{ key: 1 }] } },
    ],
  ])
    expect(readDraft(broken)).toBeUndefined();
});
