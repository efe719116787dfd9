import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { fields } from '../../src/api/fields.ts';
import { METHODS, type Result } from '../../src/api/methods.ts';
import type { CuePassage, PassageAsked } from '../../src/core/cue-passage.ts';
import { type Take, takeText } from '../../src/prop/take/take-text.ts';
import { OWLET } from './owlet.ts';
import { Rig, refusal } from './rig.ts';

let rig: Rig;
beforeEach(async () => {
  rig = await Rig.open();
});
afterEach(() => rig.remove());

type Steps = Record<string, unknown>[];

async function present(): Promise<{ version: string; cues: Record<string, Steps> }> {
  const { version, data } = (await rig.question('prop.data')) as Result<'prop.data'>;
  return { version, cues: data.cues as Record<string, Steps> };
}
async function rehearsed(params: object): Promise<Result<'cue.rehearse'>> {
  const answer = await rig.question('cue.rehearse', params);
  return METHODS['cue.rehearse'].result(fields()).parse(answer) as Result<'cue.rehearse'>;
}

test('a cue is saved as it was read with one change; going back restores every byte', async () => {
  const { version, cues } = await present();
  const steps = cues.wake!;
  steps[1]!.at = 1.4;
  const done = await rig.cue({ cue: 'wake', steps }, version);
  expect(done).toMatchObject({ pending: false, changed: [expect.stringContaining('wake')] });
  expect(await rig.read()).toBe(OWLET.replace('at: 1, move', 'at: 1.4, move'));
  expect(rig.core.changes.at(-1)!.cues.has('wake')).toBe(true);
  await rig.ask((n) => ({
    t: 'restore',
    n,
    version,
    base: done.version,
    by: { session: 's1', client: 'laptop', what: 'undone' },
  }));
  expect(await rig.read()).toBe(OWLET);
});

test('of two who save, the second is refused with the difference, and nothing is lost', async () => {
  const { version, cues } = await present();
  await rig.cue({ cue: 'wake', steps: [{ ...cues.wake![0], overS: 3 }] }, version);
  const text = await rig.read();
  const stale = await refusal(rig.cue({ cue: 'drowse', steps: cues.wake! }, version));
  expect(stale.error.data).toMatchObject({
    code: 'file.other-version',
    changed: [expect.stringContaining('wake')],
  });
  expect(await rig.read()).toBe(text);
});

test('wrong steps are refused with their place and a remedy, and nothing is written', async () => {
  const { version } = await present();
  const wrong = [
    { at: 0, move: { beak: 90 } },
    { at: 1, move: { beek: 3 } },
    { move: { beak: 3 } },
  ];
  const { error } = await refusal(rig.cue({ cue: 'wake', steps: wrong }, version));
  expect(error.data).toMatchObject({
    code: 'file.would-be-wrong',
    findings: expect.arrayContaining([
      expect.objectContaining({
        path: 'cues.wake[2]',
        message: expect.stringMatching(/does not say when; give at/),
      }),
    ]),
  });
  for (const bad of [[], [{}], [{ at: 0 }], [{ at: 0, move: { beak: 90 } }]])
    expect((await refusal(rig.cue({ cue: 'wake', steps: bad }, version))).error.data.code).toBe(
      'file.would-be-wrong',
    );
  expect(await rig.read()).toBe(OWLET);
});

test('a cue that a trigger starts is not removed; another goes', async () => {
  const { version } = await present();
  const { error } = await refusal(rig.cue({ cue: 'wake' }, version));
  expect(error.data).toMatchObject({
    code: 'cue.in-use',
    places: ['trigger button', 'trigger opening'],
  });
  await rig.cue({ cue: 'drowse' }, version);
  expect(await rig.read()).toBe(OWLET.replace(/ {2}drowse:\n.*\n/, ''));
  expect((await present()).cues).not.toHaveProperty('drowse');
});

test('a file that a hand broke meanwhile is neither edited nor rehearsed', async () => {
  const { version } = await present();
  await rig.byHand('kind: servo', 'kind: sevro');
  const { error } = await refusal(rig.cue({ cue: 'drowse' }, version));
  expect(error.data.code).toBe('file.other-version');
  const now = ((await rig.question('prop.read')) as { version: string }).version;
  const again = await refusal(rig.cue({ cue: 'drowse' }, now));
  expect(again.error.data).toMatchObject({
    code: 'file.unusable',
    reason: expect.stringMatching(/kind/),
  });
  expect((await refusal(rehearsed({ cue: 'wake' }))).error.data.code).toBe('file.has-errors');
  expect(await fs.readFile(rig.file, 'utf8')).toBe(OWLET.replace('kind: servo', 'kind: sevro'));
});

test('steps are rehearsed as if saved: in the present file, in a text, and as a cue of their own', async () => {
  const { version, cues } = await present();
  const own = await rehearsed({ cue: 'wake' });
  expect(own).toMatchObject({ version, cue: 'wake', ran: true, cutShort: false });
  expect(own.channels.map(({ name }) => name)).toEqual(['beak', 'lid_left']);
  const steps = [...cues.wake!, { at: 2, switch: { mist: 'on' }, forS: 3 }];
  const more = await rehearsed({ cue: 'wake', steps });
  // mist: duty { maxOnS: 20, restS: 40 }.
  expect(more.closures).toEqual([{ channel: 'mist', fromS: 2, toS: 5, restUntilS: 45 }]);
  expect(more.durationS).toBeCloseTo(5, 2);
  const text = OWLET.replace('overS: 1.2', 'overS: 2.4');
  const slower = await rehearsed({ cue: 'wake', text });
  expect(slower.steps[0]!.endS).toBeCloseTo(2.4, 1);
  expect(slower.version).not.toBe(version);
  const loose = await rehearsed({ steps: [{ at: 0, move: { beak: 'open' } }] });
  expect(loose).toMatchObject({ cue: 'new_cue', ran: true });
  const part = await rehearsed({ cue: 'wake', steps: [], from: 0, count: 1 });
  expect(part.channels.map(({ name }) => name)).toEqual(['beak']);
  expect(await rig.read()).toBe(OWLET);
});

test('what would be refused or slowed is found at its step', async () => {
  const steps = [
    { at: 0, move: { beak: 'open' }, overS: 0.1 },
    { at: 2, move: { lid_left: 'ajar' } },
  ];
  const wrong = await rehearsed({ cue: 'wake', steps });
  expect(wrong).toMatchObject({ ran: false, channels: [] });
  expect(wrong.findings[0]).toMatchObject({
    level: 'error',
    cue: 'wake',
    step: 1,
    path: 'move.lid_left',
    what: 'check',
    wrong: expect.stringContaining('ajar'),
  });
  const slow = await rehearsed({ cue: 'wake', steps: steps.slice(0, 1) });
  expect(slow.ran).toBe(true);
  expect(slow.findings).toEqual([
    expect.objectContaining({ level: 'warning', cue: 'wake', step: 0, atS: expect.any(Number) }),
  ]);
  const nonsense = await rehearsed({ cue: 'wake', steps: [{ at: 'soon', mvoe: {} }] });
  expect(nonsense).toMatchObject({ ran: false });
  expect(nonsense.findings.every(({ step }) => step === 0)).toBe(true);
  expect((await refusal(rehearsed({ cue: 'waek' }))).error.data).toMatchObject({
    code: 'cue.unknown',
    reason: expect.stringContaining('wake'),
  });
});

test('a captured pose goes among the poses, comments stay, and it can be taken back', async () => {
  const values = { beak: 12.5, lid_left: 'open', mist: 'off' };
  await rig.capture(['poses', 'alert'], values);
  const text = OWLET.replace(
    'asleep: { lid_left: shut, beak: shut }\n',
    (line) => `${line}  alert: { beak: 12.5, lid_left: open, mist: off }\n`,
  );
  expect(await rig.read()).toBe(text);
  await rig.capture(['poses', 'alert', 'beak'], 'open');
  expect(await rig.read()).toBe(text.replace('beak: 12.5', 'beak: open'));
  await rig.undo();
  await rig.undo();
  expect(await rig.read()).toBe(OWLET);
});

test('a disk that is full loses neither the file nor the cue', async () => {
  const full = Object.assign(new Error('ENOSPC: no space left on device'), { code: 'ENOSPC' });
  let isFull = false;
  const disk = new Proxy(fs, {
    get: (target, key) => {
      const own = Reflect.get(target, key);
      if (key !== 'open') return own;
      return async (...args: Parameters<typeof fs.open>) => {
        if (isFull && args[1] !== 'r') throw full;
        return fs.open(...args);
      };
    },
  });
  const other = await Rig.open({ fileSystem: disk as never });
  const { version, data } = (await other.question('prop.data')) as Result<'prop.data'>;
  const steps = [...(data.cues as Record<string, Steps>).wake!, { at: 3, pose: 'asleep' }];
  isFull = true;
  const { error } = await refusal(other.cue({ cue: 'wake', steps }, version));
  expect(error.data).toMatchObject({
    code: 'file.not-saved',
    reason: expect.stringMatching(/ENOSPC|full|space/),
  });
  expect(await other.read()).toBe(OWLET);
  isFull = false;
  await other.cue({ cue: 'wake', steps }, version);
  expect(await other.read()).toContain('- { at: 3, pose: asleep }');
  await other.remove();
});

test('a take beside the file is rehearsed, also once it was performed again', async () => {
  const take = (deg: number): Take => ({
    servos: [{ name: 'beak', timesS: [0, 1, 2], deg: [0, deg, 0] }],
  });
  await fs.writeFile(join(rig.folder, 'wave.take'), takeText(take(20)));
  const text = OWLET.replace('\ncues:\n', '\ntakes: { wave: wave.take }\ncues:\n');
  const steps = [{ at: 0, take: 'wave' }];
  const top = async () => {
    const done = await rehearsed({ cue: 'wake', steps, text });
    expect(done.findings).toEqual([]);
    return Math.max(...(done.channels.find(({ name }) => name === 'beak')!.value as number[]));
  };
  expect(await top()).toBeCloseTo(20, 0);
  await fs.writeFile(join(rig.folder, 'wave.take'), takeText(take(12)));
  expect(await top()).toBeCloseTo(12, 0);
  // Saved with the take, and rehearsed from the present file.
  const { version } = await present();
  const applied = await rig.apply(text, version);
  await rig.cue({ cue: 'wake', steps }, applied.version);
  expect((await rehearsed({ cue: 'wake' })).channels.map(({ name }) => name)).toEqual(['beak']);
});

test('a passage is of the version in use, and a passage past the end is refused', async () => {
  const passage = (asked: PassageAsked) =>
    rig.ask((n) => ({ t: 'passage', n, asked, session: 's1' })) as Promise<unknown>;
  const made = (await passage({ cue: 'wake', fromS: 0.5, rate: 0.5 })) as CuePassage;
  expect(made).toMatchObject({ cue: 'wake', fromS: 0.5, rate: 0.5, version: rig.core.version });
  expect(made.own.steps[0]).toMatchObject({ spec: { at: 0, overS: 2 } });
  expect(made.own.steps.length).toBeGreaterThan(1);
  const past = await refusal(passage({ cue: 'wake', fromS: 3000, rate: 1 }));
  expect(past.error.data).toMatchObject({ code: 'cue.past-end' });
  const none = await refusal(passage({ cue: 'sleep', fromS: 1, rate: 1 }));
  expect(none.error.data).toMatchObject({ code: 'cue.unknown' });
});
