import fs from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, expect, test } from 'vitest';
import { wavOf } from '../../sound/wav.ts';
import { OWLET } from '../owlet.ts';
import { Rig } from '../rig.ts';

// The sounds beside the prop file: what the core gets of them, and what becomes of changes by hand.

let rig: Rig;
afterEach(() => rig.remove());

const VOICED = OWLET.replace('boards:\n', 'boards:\n  speaker: { driver: alsa }\n')
  .replace(
    'channels:\n',
    'channels:\n  voice: { kind: sound, output: { board: speaker }, ceiling: 0.1 }\n',
  )
  .replace(
    'cues:\n',
    'sounds: { hoot: hoot.wav }\ncues:\n  call: [{ at: 0, sound: { voice: hoot } }]\n',
  );

async function open(files: Record<string, Buffer | string>, program?: string): Promise<void> {
  rig = await Rig.open();
  await rig.close();
  await write({ 'owl.yaml': VOICED, ...files });
  rig = await Rig.open({ folder: rig.folder, ...(program && { program }) });
}
async function write(files: Record<string, Buffer | string>): Promise<void> {
  for (const [name, content] of Object.entries(files))
    await fs.writeFile(join(rig.folder, name), content);
}
const hootS = () => {
  const { rest } = rig.core.changes.at(-1)!.begin;
  return (rest as { soundFiles: Record<string, { durationS: number }> }).soundFiles.hoot!.durationS;
};

test('a sound that is put there after the start, or replaced, is in use at once', async () => {
  await open({});
  expect(rig.opened.prop.soundFiles?.hoot?.durationS).toBe(0);
  await rig.pass(1200);
  await write({ 'hoot.wav': wavOf() });
  await rig.pass(1700);
  expect(hootS()).toBe(0.5);
  const { begin, cues } = rig.core.changes.at(-1)!;
  expect(begin.whenParked).toBe(false);
  expect(cues.get('call')!.durationS).toBe(0.5);
  expect(rig.reported.at(-1)).toBe(
    'the prop file was changed and is in use: sound hoot: another file',
  );
  await write({ 'hoot.wav': wavOf({ data: Buffer.alloc(16_000) }) });
  await rig.pass(1700);
  expect(hootS()).toBe(1);
  const changes = rig.core.changes.length;
  await rig.pass(3000);
  expect(rig.core.changes).toHaveLength(changes);
});

test('a pipe in its place holds nothing up', async () => {
  await open({});
  const { execFileSync } = await import('node:child_process');
  execFileSync('mkfifo', [join(rig.folder, 'hoot.wav')]);
  await rig.pass(1700);
  expect(rig.core.changes.at(-1)!.begin.rest).toMatchObject({
    soundFiles: { hoot: { durationS: 0, problem: { wrong: 'it is not a regular file' } } },
  });
});

test('a sound that was replaced while the daemon did not run is read at its start', async () => {
  const program = join(import.meta.dirname, 'sounds.test.ts');
  await open({ 'hoot.wav': wavOf() }, program);
  await rig.pass(1000);
  await rig.close();
  await write({ 'hoot.wav': wavOf({ data: Buffer.alloc(32_000) }) });
  rig = await Rig.open({ folder: rig.folder, program });
  expect(rig.opened.prop.soundFiles?.hoot?.durationS).toBe(2);
});

test('a take that is mended makes a prop file usable that had errors for it', async () => {
  await open({ 'hoot.wav': wavOf() });
  const take = (deg: number) => `sinew take 1\nservo beak\n0 0\n1 ${deg}\n2 0\n`;
  const named = VOICED.replace(
    'cues:\n',
    'takes: { nod: nod.take }\ncues:\n  nod: [{ at: 0, take: nod }]\n',
  );
  await write({ 'owl.yaml': named, 'nod.take': take(40) });
  await rig.pass(1700);
  expect(rig.status.problem).toMatch(/past its soft limits/);
  const said = rig.reported.length;
  await rig.pass(2000);
  expect(rig.reported).toHaveLength(said);
  await write({ 'nod.take': take(10) });
  await rig.pass(1700);
  expect(rig.status.problem).toBeUndefined();
  expect(rig.core.changes.at(-1)!.cues.get('nod')!.takes).toHaveLength(1);
});
