import { expect, test } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import { METHODS, type Result } from '../../src/api/methods.ts';
import { parseProp } from '../../src/prop/load.ts';
import { Planner } from '../../src/service/planner-answer.ts';
import type { PlannerQuestion } from '../../src/service/planner-question.ts';
import { OWL } from '../prop/helpers.ts';
import { CRAB_ANSWERS } from '../proposal/crab.ts';

const planner = new Planner();

/** An answer, as its method's own schema has it. */
async function answerTo<
  M extends 'proposal.ask' | 'proposal.prop' | 'proposal.loom' | 'proposal.shopping',
>(method: M, question: PlannerQuestion): Promise<Result<M>> {
  const answer = await planner.answer(question);
  if (!('result' in answer)) throw new Error(`${answer.code}: ${answer.reason}`);
  METHODS[method].result(fields()).parse(answer.result);
  return answer.result as Result<M>;
}

const FLAPS = {
  name: 'Shutters',
  moves: [{ name: 'flap', count: 4, place: 'front' }],
  lights: [{ name: 'eye', count: 2, kind: 'rgb' }],
  relays: [{ name: 'mist', load: 'vapour', tankMl: 100 }],
};

test('the questions one after the other end in answers that the proposal takes', async () => {
  const given: Record<string, string> = {};
  const first = await answerTo('proposal.ask', { about: 'ask', given });
  expect(first.question).toMatchObject({ id: 'name', usual: 'My prop' });
  expect(first.choices.servos).toContainEqual({ value: 'servo-9g', about: expect.any(String) });
  for (const [id, answer] of CRAB_ANSWERS) given[id] = answer;
  const last = await answerTo('proposal.ask', { about: 'ask', given });
  expect(last.question).toBeNull();
  const { wrong, proposal } = await answerTo('proposal.prop', {
    ...{ about: 'proposal', answers: last.answers, file: 'crab.yaml' },
  });
  expect(wrong).toEqual([]);
  expect(proposal!.findings.filter(({ level }) => level === 'error')).toEqual([]);
  const wrongly = await answerTo('proposal.ask', {
    about: 'ask',
    given: { ...given, 'moves.0.count': 'lots' },
  });
  expect(wrongly.wrong).toMatchObject({ id: 'moves.0.count', wrong: /lots is not a whole number/ });
});

test('a proposal is a sound file with its loom; changes and what is wrong are said by their ids', async () => {
  const { proposal } = await answerTo('proposal.prop', {
    ...{ about: 'proposal', answers: FLAPS, file: 'new.yaml' },
    changes: { 'flap_1.name': 'lid', 'mist.pin': 'GPIO 99', 'eye_left.through': 'glue' },
  });
  const { prop, findings } = parseProp(proposal!.text, 'new.yaml');
  expect(findings).toEqual([]);
  expect(Object.keys(prop!.channels)).toEqual([
    ...['lid', 'flap_2', 'flap_3', 'flap_4', 'eye_left', 'eye_right', 'mist'],
  ]);
  expect(prop!.groups.flaps).toEqual(['lid', 'flap_2', 'flap_3', 'flap_4']);
  expect(proposal!.problems.map(({ id }) => id)).toContain('mist.pin');
  // Vapour discs need 24 V: a supply of its own is proposed, and said to be missing.
  const vapour = prop!.rails[(prop!.channels.mist as { contact: { rail: string } }).contact.rail]!;
  expect(vapour.volts).toBe(24);
  expect(proposal!.supplies.find(({ volts }) => volts === 24)).toMatchObject({ toBuy: true });
  expect(proposal!.added.filter(({ for: { kind } }) => kind === 'channel').length).toBeGreaterThan(
    7,
  );
  const none = await answerTo('proposal.prop', {
    ...{ about: 'proposal', file: 'new.yaml', answers: { moves: [{ name: 'flap', count: 0 }] } },
  });
  expect(none).toEqual({
    wrong: ['moves[0].count is below 1; give how many, 1 to 64'],
    proposal: null,
  });
  const many = await answerTo('proposal.prop', {
    ...{ about: 'proposal', file: 'new.yaml' },
    answers: {
      lights: [{ name: 'star', count: 24, kind: 'rgb' }],
      relays: [{ name: 'fan', load: 'fan', count: 16 }],
    },
  });
  expect(many.proposal === null ? many.wrong.join() : '').not.toMatch(/undefined/);
});

test('the loom of a file is added to it; a channel that is left out gets nothing', async () => {
  const bare = parseProp(
    (
      await answerTo('proposal.prop', {
        ...{ about: 'proposal', answers: { ...FLAPS, wiring: false }, file: 'new.yaml' },
      })
    ).proposal!.text,
    'new.yaml',
  );
  expect(bare.prop!.wires).toEqual([]);
  const question = {
    about: 'loom' as const,
    ...{ text: bare.text, file: 'new.yaml', version: '0123456789abcdef' },
    ...{ lengthM: 0.5, lengthsM: { flap_1: 1.5 } },
  };
  const all = await answerTo('proposal.loom', question);
  const edit = all.edits.find(({ path }) => path.join('.') === 'channels.flap_1.wire');
  expect(edit?.value).toMatchObject({ lengthM: 1.5 });
  expect(all.findings).toEqual([]);
  expect(all.added.filter(({ for: { name } }) => name === '')).toEqual([]);
  const fewer = await answerTo('proposal.loom', {
    ...question,
    leaveOut: ['flap_4', 'mist', 'stop button'],
  });
  const owners = new Set(fewer.added.map(({ for: { name } }) => name));
  expect(owners).not.toContain('flap_4');
  expect(owners).not.toContain('stop button');
  expect(owners).toContain('flap_3');
  expect(fewer.edits.map(({ path }) => path.join('.'))).not.toContain('channels.mist.wire');
  // The rail of the vapour unit alone has nothing to feed then.
  const own = (bare.prop!.channels.mist as { contact: { rail: string } }).contact.rail;
  expect(owners).not.toContain(own);
  expect(fewer.findings.filter(({ level }) => level === 'error')).toEqual([]);
  await expect(answerTo('proposal.loom', { ...question, lengthsM: { flop: 1 } })).rejects.toThrow(
    /channel\.unknown: there is no channel flop/,
  );
});

test('the shopping list has parts, metres of wire and the sleeves of bundles, as a table, too', async () => {
  const { items, csv } = await answerTo('proposal.shopping', {
    about: 'shopping',
    text: OWL,
    file: 'owl.yaml',
  });
  expect(items.filter(({ unit }) => unit === 'm').length).toBeGreaterThan(0);
  expect(csv.split('\r\n')).toHaveLength(items.length + 1);
  const { proposal } = await answerTo('proposal.prop', {
    ...{ about: 'proposal', answers: FLAPS, file: 'new.yaml' },
  });
  const list = await answerTo('proposal.shopping', {
    about: 'shopping',
    text: proposal!.text,
    file: 'new.yaml',
  });
  // Four servo wires of three cores and 0.5 m, a tenth to spare, rounded up to 0.1 m.
  expect(list.items).toContainEqual({
    ...{ item: 'sleeve', size: 'for 12 cores', quantity: 0.6, unit: 'm', for: ['front'] },
  });
  const answer = await planner.answer({ about: 'shopping', text: 'sinew: 2\n', file: 'x.yaml' });
  expect(answer).toMatchObject({ code: 'file.has-errors' });
});
