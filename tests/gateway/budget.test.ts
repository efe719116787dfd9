import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { type BudgetQuestion, BudgetReckoner } from '../../src/gateway/budget-answer.ts';
import { METHODS } from '../../src/gateway/methods.ts';
import { OWL } from '../prop/helpers.ts';

let folder: string;
let file: string;
beforeAll(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-'));
  file = join(folder, 'owl.yaml');
  await writeFile(file, OWL);
});
afterAll(() => rm(folder, { recursive: true }));

async function result(reckoner: BudgetReckoner, question: BudgetQuestion) {
  const answer = await reckoner.answer(question);
  if (!('result' in answer)) throw new Error(answer.reason);
  return answer.result;
}

it('answers in the shape that the API describes', async () => {
  const reckoner = new BudgetReckoner(file);
  const sums = METHODS.get('budget.read')!.result.parse(await result(reckoner, {}));
  expect(sums).toMatchObject({ rails: [{ name: 'servo6v' }, { name: 'logic5v' }], findings: [] });
  const cue = METHODS.get('budget.cue')!.result.parse(await result(reckoner, { cue: 'wake' }));
  const { rails } = cue as { rails: { amps: number[]; peakA: number }[] };
  for (const { amps, peakA } of rails) {
    expect(amps).toHaveLength(241);
    expect(Math.max(...amps)).toBe(peakA);
  }
});

it('keeps an answer while the file stays as it is', async () => {
  const reckoner = new BudgetReckoner(file);
  const once = await result(reckoner, { cue: 'blink' });
  expect(await result(reckoner, { cue: 'blink' })).toBe(once);
  await writeFile(file, OWL.replace('stallA: 0.7', 'stallA: 0.8'));
  expect(await result(reckoner, { cue: 'blink' })).not.toEqual(once);
  await writeFile(file, OWL);
});

it('tells why it cannot answer', async () => {
  const reckoner = new BudgetReckoner(file);
  expect(await reckoner.answer({ cue: 'wkae' })).toMatchObject({
    kind: 'noSuchThing',
    reason: 'there is no cue wkae; did you mean wake?',
  });
  await writeFile(file, OWL.replace('volts: 6.0', 'volts: 0'));
  expect(await reckoner.answer({})).toMatchObject({
    kind: 'condition',
    reason: expect.stringMatching(/the prop file has errors now \(line \d+: rails\.servo6v\.volts/),
  });
  await rm(file);
  expect(await reckoner.answer({})).toMatchObject({
    kind: 'condition',
    reason: expect.stringContaining('there is no such file'),
  });
  await writeFile(file, OWL);
});
