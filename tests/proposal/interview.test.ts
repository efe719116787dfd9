import { describe, expect, test } from 'vitest';
import { readAnswers } from '../../src/proposal/answers.ts';
import { interview } from '../../src/proposal/interview.ts';
import { CRAB_ANSWERS, CRAB_QUESTIONS } from './crab.ts';

test('the questions about a crab are 48, half of them answered by Enter', () => {
  const given = new Map<string, string>();
  for (const [id, answer] of CRAB_ANSWERS) {
    const { question, wrong } = interview(given);
    expect(question?.id).toBe(id);
    expect(question!.ask).toMatch(/[?.)]$/);
    expect(question!.why.length).toBeGreaterThan(5);
    expect(question!.usual).not.toBe('');
    expect(wrong).toBeUndefined();
    given.set(id, answer);
  }
  const { question, answers } = interview(given);
  expect(question).toBeUndefined();
  const typed = CRAB_ANSWERS.filter(([, answer]) => answer !== '').length;
  expect({ asked: CRAB_ANSWERS.length, typed }).toEqual(CRAB_QUESTIONS);
  expect(readAnswers(answers)).toMatchObject({
    answers: {
      name: 'Two-clawed crab',
      moves: [
        { name: 'claw', count: 2, part: 'servo-10kgcm', travelDeg: 40, rests: 'end', lengthM: 0.6 },
        { name: 'arm', rests: 'middle', lengthM: 0.6 },
        { name: 'stalk', part: 'servo-9g', travelDeg: 60 },
      ],
      lights: [{ name: 'eye', count: 2, kind: 'rgb', wired: 'n-mosfet' }],
      relays: [{ name: 'mist', load: 'vapour', tankMl: 200, closesOn: 'low' }],
      supplies: [{ volts: 6 }, { volts: 24, amps: 1 }, { volts: 5, source: 'mains' }],
      stopButton: true,
    },
  });
});

test('a loudspeaker is one question, and its name is all that is asked', () => {
  const given = new Map(CRAB_ANSWERS);
  given.set('sounds.0.name', 'big voice');
  const { question, answers } = interview(given);
  expect(question).toBeUndefined();
  expect(readAnswers(answers)).toMatchObject({
    answers: { sounds: [{ name: 'big_voice', count: 1 }] },
  });
});

test('Enter at every question is an answer, too', () => {
  const given = new Map<string, string>();
  for (let i = 0; i < 100; i++) {
    const { question, answers } = interview(given);
    if (!question) {
      expect(readAnswers(answers)).toMatchObject({ answers: { moves: [{ name: 'flap' }] } });
      return;
    }
    given.set(question.id, '');
  }
  expect.fail('the questions have no end');
});

describe('an answer that cannot be is named at its question', () => {
  const crab = (id: string, answer: string) => {
    const at = CRAB_ANSWERS.findIndex(([one]) => one === id);
    return interview(new Map([...CRAB_ANSWERS.slice(0, at), [id, answer]]));
  };

  test.each([
    ['computer', 'abacus', /abacus is not one of sim/],
    ['moves.0.name', '2nd', /2nd is not a name; use a letter/],
    ['moves.0.count', '1.5', /not a whole number within 1 to 64/],
    ['moves.0.part', 'motor', /motor is not one of servo-9g/],
    ['moves.0.part', 'servo', /servo is not one of/],
    ['moves.0.travelDeg', '400', /400 is not a number within 5 to 120/],
    ['moves.0.lengthM', 'long', /long is not a number/],
    ['sounds.0.name', '2nd', /2nd is not a name; use a letter/],
    ['supplies.0.volts', '230', /230 is not a number within 3 to 48/],
  ])('%s: %s', (id, answer, wrong) => {
    expect(crab(id, answer)).toMatchObject({
      question: { id },
      wrong: { id, wrong: expect.stringMatching(wrong) },
    });
  });

  test('first letters, numbers, units and commas will do', () => {
    const read = (id: string, answer: string) => crab(id, answer).wrong;
    expect(read('moves.0.rests', 'm')).toBeUndefined();
    expect(read('moves.0.part', '3')).toBeUndefined();
    expect(read('moves.0.travelDeg', '45 deg')).toBeUndefined();
    expect(read('moves.0.lengthM', '0,6')).toBeUndefined();
  });
});
