import { join } from 'node:path';
import { Worker } from 'node:worker_threads';
import { afterAll, beforeAll, beforeEach, expect, test } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import { METHODS } from '../../src/api/methods.ts';
import { explainVerb } from '../../src/cli/explain.ts';
import type { Operator } from '../../src/cli/verb.ts';
import { versionOf } from '../../src/prop/file/version.ts';
import { parseProp } from '../../src/prop/load.ts';
import { rehearseAll } from '../../src/rehearsal/rehearse-all.ts';
import { wholeFindings } from '../../src/rehearsal/rehearse-findings.ts';
import { PlannerThread } from '../../src/service/planner.ts';
import { Planner } from '../../src/service/planner-answer.ts';
import type { PlannerQuestion } from '../../src/service/planner-question.ts';
import { VirtualClock } from '../../src/shared/clock.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { OWL } from '../prop/helpers.ts';
import { type Bundle, bundle } from './bundle.ts';

let made: Bundle;
let threads: Worker[];
let clock: VirtualClock;
beforeAll(async () => {
  made = await bundle();
});
afterAll(() => made.remove());
beforeEach(() => {
  threads = [];
  clock = new VirtualClock();
});

const planner = (maxOldGenerationSizeMb = 64) =>
  new PlannerThread(clock, () => {
    const thread = new Worker(join(made.folder, 'planner.js'), {
      resourceLimits: { maxOldGenerationSizeMb },
    });
    threads.push(thread);
    return thread;
  });
const about = (more: object) => ({ text: OWL, file: 'owl.yaml', ...more }) as PlannerQuestion;
const BUDGET = about({ about: 'budget' });

test('one that needs too much memory ends its thread, and nothing else', async () => {
  const operator = planner(20);
  // A check of some thirty thousand lines.
  const cues = Array.from(
    { length: 15_000 },
    (_, i) => `  c${i}:\n    - { at: 0, pose: asleep }\n`,
  );
  const text = OWL.replace('\ncues:\n', `\ncues:\n${cues.join('')}`);
  const error = await operator.ask('s', about({ about: 'check', text })).catch((reason) => reason);
  expect(error).toBeInstanceOf(Refusal);
  expect(error.message).toMatch(/more memory than the daemon may take.*on a laptop/);
  const small = about({ about: 'check', text: 'sinew: 1\n' });
  expect(await operator.ask('s', small)).toMatchObject({ findings: expect.anything() });
  expect(threads).toHaveLength(2);
  await operator.close();
});

test('sixteen may wait; a session that is gone gives its place, the one under way included', async () => {
  const operator = planner();
  const asked = Array.from({ length: 16 }, () => operator.ask('a', BUDGET).catch(() => 'dropped'));
  await expect(operator.ask('b', BUDGET)).rejects.toThrow(/16 checks and budgets wait already/);
  operator.gone('a');
  expect(new Set(await Promise.all(asked))).toEqual(new Set(['dropped']));
  expect(await operator.ask('b', BUDGET)).toMatchObject({ rails: expect.anything() });
  await operator.close();
});

test('of rehearsals of one session that wait, the newest is answered; other questions and sessions wait on', async () => {
  const operator = planner();
  const cue = (more: object) =>
    about({ about: 'cue-rehearsal', version: 'v', cue: 'wake', ...more });
  const steps = [{ at: 0, move: { beak: 'open' } }];
  const word = (reason: Refusal) => reason.word;
  const first = operator.ask('a', cue({}));
  const second = operator.ask('a', cue({ steps })).catch(word);
  const budget = operator.ask('a', BUDGET);
  const other = operator.ask('b', cue({}));
  const third = operator.ask('a', cue({ steps: [...steps, ...steps] })).catch(word);
  const last = operator.ask('a', cue({ steps: [...steps, ...steps, ...steps] }));
  expect(await second).toBe('cue.newer-question');
  expect(await third).toBe('cue.newer-question');
  // The one under way is answered as well.
  expect(await first).toMatchObject({ ran: true });
  expect(await budget).toMatchObject({ rails: expect.anything() });
  expect(await other).toMatchObject({ ran: true });
  expect(await last).toMatchObject({ ran: true, steps: [{}, {}, {}] });
  expect(threads).toHaveLength(1);
  await operator.close();
});

test('the thread ends when nobody has asked for a while', async () => {
  const operator = planner();
  await operator.ask('a', BUDGET);
  const ended = new Promise((resolve) => threads[0]!.once('exit', resolve));
  clock.advance(60_000);
  await ended;
  await operator.ask('a', BUDGET);
  expect(threads).toHaveLength(2);
  await operator.close();
});

test('answers in the shape that the API describes, and keeps them while the text stays', async () => {
  const answers = new Planner();
  const result = async (question: PlannerQuestion) => {
    const answer = await answers.answer(question);
    if (!('result' in answer)) throw new Error(answer.reason);
    return answer.result;
  };
  const sums = METHODS['budget.read'].result(fields()).parse(await result(BUDGET));
  expect(sums).toMatchObject({ rails: [{ name: 'servo6v' }, { name: 'logic5v' }], findings: [] });
  const wake = about({ about: 'cue', cue: 'wake' });
  const { rails } = METHODS['budget.cue'].result(fields()).parse(await result(wake)) as {
    rails: { amps: number[]; peakA: number }[];
  };
  for (const { amps, peakA } of rails) {
    expect(amps).toHaveLength(241);
    expect(Math.max(...amps)).toBe(peakA);
  }
  expect(await result(wake)).toBe(await result(wake));
  const other = { ...wake, text: OWL.replace('stallA: 0.7', 'stallA: 0.8') };
  expect(await result(other)).not.toEqual(await result(wake));
  expect(await answers.answer(about({ about: 'cue', cue: 'wkae' }))).toMatchObject({
    code: 'cue.unknown',
    reason: 'there is no cue wkae; did you mean wake?',
  });
  const faulty = about({ about: 'budget', text: OWL.replace('volts: 6.0', 'volts: 0') });
  expect(await answers.answer(faulty)).toMatchObject({
    code: 'file.has-errors',
    reason: expect.stringMatching(/the prop file has errors now \(line \d+: rails\.servo6v\.volts/),
  });
});

test('the key reference is answered within the memory of its thread, as the command line answers', async () => {
  const operator = planner(32);
  const shape = METHODS['prop.explain'].result(fields());
  const ask = async (more: { key?: string; find?: string }) =>
    shape.parse(await operator.ask('a', { about: 'explain', ...more })) as object;
  const { result } = await explainVerb.run({ key: 'channels.servo' }, {} as Operator);
  expect(await ask({ key: 'channels.servo' })).toEqual({ key: result });
  expect(await ask({})).toMatchObject({ key: { path: '', parent: null } });
  expect(await ask({ find: 'fuse' })).toHaveProperty('found.0.path', 'rails.fuse');
  const error = await ask({ key: '__proto__' }).catch((reason) => reason);
  expect(error).toMatchObject({ word: 'command.unknown-name' });
  await operator.close();
});

test('a whole prop is rehearsed within the memory of its thread, and finds what the check finds', async () => {
  // As the daemon limits it.
  const operator = planner(32);
  const ask = async (text: string) =>
    METHODS['prop.rehearse']
      .result(fields())
      .parse(
        await operator.ask('a', { about: 'rehearsal', version: versionOf(text), text, file: 'f' }),
      );
  expect(await ask(OWL)).toEqual({ version: versionOf(OWL), findings: [], more: 0, skipped: [] });
  // The mist has to rest for 40 s after it has run for 20 s.
  const late = OWL.replace(
    '\ncues:\n',
    '\ncues:\n  twice:\n    - { at: 0, move: { tail: open } }\n    - { at: 3, switch: { mist: on }, forS: 20 }\n    - { at: 30, switch: { mist: on }, forS: 5 }\n',
  );
  const { findings } = (await ask(late)) as { findings: { path: string; line: number }[] };
  const loaded = parseProp(late, 'f');
  const whole = wholeFindings(await rehearseAll(loaded.prop!, () => true), loaded);
  expect(findings.map(({ path, line }) => ({ path, line }))).toEqual(
    whole.map(({ path, line }) => ({ path, line })),
  );
  expect(findings.length).toBeGreaterThan(0);
  const faulty = await operator
    .ask('a', { about: 'rehearsal', version: '', text: 'sinew: 1\n', file: 'f' })
    .catch((reason) => reason);
  expect(faulty).toMatchObject({ word: 'file.has-errors' });
  await operator.close();
});
