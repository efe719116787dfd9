import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, expect, test } from 'vitest';
import type { TakeShown } from '../../../src/core/commands.ts';
import { versionOf } from '../../../src/prop/file/version.ts';
import { sample } from '../../../src/sums/profile.ts';
import { OWLET } from '../owlet.ts';
import { ME, Rig, refusal } from '../rig.ts';

// The takes beside the prop file: what the core gets of them, and what becomes of changes by hand.

let rig: Rig;
afterEach(() => rig.remove());

const WITH_TAKE = OWLET.replace(
  'cues:\n',
  'takes: { nod: nod.take }\ncues:\n  nod:\n    - { at: 0, take: nod }\n',
);
const take = (deg: number) => `sinew take 1\nservo beak\n0 0\n1 ${deg}\n2 0\n`;

async function open(text = take(10), program?: string): Promise<void> {
  rig = await Rig.open();
  await rig.close();
  await fs.writeFile(join(rig.folder, 'owl.yaml'), WITH_TAKE);
  await fs.writeFile(join(rig.folder, 'nod.take'), text);
  rig = await Rig.open({ folder: rig.folder, ...(program && { program }) });
}

/** Where the beak is 1 s into the take, as the core would be given it last (deg). */
function middle(): number {
  const sent = rig.core.changes.at(-1)?.cues.get('nod')?.takes ?? rig.opened.prop.cueTakes?.nod;
  const state = { pos: Number.NaN, vel: 0, acc: 0 };
  sample(sent![0]!.servos[0]!.track.trajectory, 1, state);
  return state.pos;
}

test('the core gets numbers that are ready to be followed, in memory that is not copied', async () => {
  await open();
  expect(middle()).toBeCloseTo(10, 1);
  const { cueTakes, ...prop } = rig.opened.prop;
  expect(JSON.stringify(prop)).not.toContain('timesS');
  const { segments } = cueTakes!.nod![0]!.servos[0]!.track.trajectory;
  expect(segments.buffer).toBeInstanceOf(SharedArrayBuffer);
});

test('a take that is edited by hand is in use within two looks, though the prop file is the same', async () => {
  await open();
  await rig.pass(1200);
  await fs.writeFile(join(rig.folder, 'nod.take'), take(20));
  await rig.pass(1700);
  expect(middle()).toBeCloseTo(20, 1);
  expect(rig.reported.at(-1)).toBe(
    'the prop file was changed and is in use: take nod: performed otherwise',
  );
  expect(rig.status.version).toBe(versionOf(WITH_TAKE));
  const changes = rig.core.changes.length;
  await rig.pass(3000);
  expect(rig.core.changes).toHaveLength(changes);
});

test('a take that goes bad is told at its place, and comes back', async () => {
  await open();
  await rig.pass(1200);
  await fs.writeFile(join(rig.folder, 'nod.take'), 'sinew take 1\nservo beak\n0 high\n');
  await rig.pass(1700);
  const { findings } = rig.status;
  expect(findings.find(({ path }) => path === 'takes.nod')).toMatchObject({
    severity: 'warning',
    wrong: 'take nod cannot be played: nod.take:3:3: "high" is not an angle',
  });
  expect(rig.core.changes.at(-1)!.cues.get('nod')!.takes).toEqual([undefined]);
  // Past the soft limits of the beak: an error, which the prop does not use.
  await fs.writeFile(join(rig.folder, 'nod.take'), take(40));
  await rig.pass(1700);
  expect(rig.status.problem).toMatch(/past its soft limits, -5 to 35 deg/);
  await fs.writeFile(join(rig.folder, 'nod.take'), take(30));
  await rig.pass(1700);
  expect(rig.status.problem).toBeUndefined();
  expect(middle()).toBeCloseTo(30, 1);
});

test('a start from what was worked out before sees that a take is another one', async () => {
  const folder = await fs.mkdtemp(join(tmpdir(), 'sinew-program-'));
  const program = join(folder, 'service.js');
  await fs.writeFile(program, 'program one');
  await open(take(10), program);
  await rig.close();
  await fs.writeFile(join(rig.folder, 'nod.take'), take(25));
  rig = await Rig.open({ folder: rig.folder, program });
  expect(middle()).toBeCloseTo(25, 1);
  await rig.close();
  rig = await Rig.open({ folder: rig.folder, program });
  expect(middle()).toBeCloseTo(25, 1);
  await rig.pass(2000);
  expect(rig.logged.filter((line) => line.startsWith('error'))).toEqual([]);
  expect(middle()).toBeCloseTo(25, 1);
});

test('a take is made of one that the file lists, which stays as it is', async () => {
  await open();
  const params = { take: 'nod', scale: 0.5, toleranceDeg: 0.1 };
  const shown = await rig.ask<TakeShown>((n) => ({ t: 'take-read', n, params }));
  expect(shown).toMatchObject({ channels: ['beak'], durationS: 2 });
  expect(Math.abs(shown.differenceDeg!.beak! - 5)).toBeLessThanOrEqual(0.1);
  const save = (name: string, more = {}) =>
    rig.ask((n) => ({ t: 'take-save', n, params: { ...params, name, ...more }, by: ME }));
  expect(await save('little_nod')).toMatchObject({ name: 'little_nod', file: 'little_nod.take' });
  expect(await rig.read()).toContain('little_nod: little_nod.take');
  // Under its own name it is another file: an earlier version of the prop file names the first one.
  expect((await refusal(save('nod'))).error.data.code).toBe('take.name-taken');
  expect(await save('nod', { replace: true })).toMatchObject({ file: 'nod-2.take' });
  expect(await fs.readFile(join(rig.folder, 'nod.take'), 'utf8')).toBe(take(10));
  // A cue plays it: past the soft limits of the beak nothing is saved.
  const wide = await refusal(save('nod', { scale: 8, replace: true }));
  expect(wide.error.data.reason).toMatch(/past its soft limits/);
  expect(await rig.files()).not.toContain('nod-3.take');
});

test('a take that is not there, or cannot be read, is refused with a remedy', async () => {
  await open();
  const read = (name: string) => rig.ask((n) => ({ t: 'take-read', n, params: { take: name } }));
  const unknown = await refusal(read('nodd'));
  expect(unknown.error.data).toMatchObject({ code: 'take.unknown', take: 'nodd' });
  expect(unknown.error.data.reason).toMatch(/nod/);
  for (const name of ['', '__proto__', 'constructor'])
    expect((await refusal(read(name))).error.data.code).toBe('take.unknown');
  await fs.rm(join(rig.folder, 'nod.take'));
  const gone = await refusal(read('nod'));
  expect(gone.error.data.code).toBe('take.unusable');
  expect(gone.error.data.reason).toMatch(/nod\.take is not beside the prop file; put it there/);
});
