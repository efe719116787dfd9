import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { parseTake } from '../../src/prop/take/take-text.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('file');
const WAVE = 'sinew take 1\nservo wing_left\n0 10\n1 30\n2 10\n3 20\nservo beak\n0 0\n3 6\n';

async function changed(...args: string[]) {
  const file = join(on.folder, 'wave.take');
  await writeFile(file, WAVE);
  const { out, err, code } = await run(['take', file, ...args], on.daemon);
  return { take: parseTake(out, 'wave.take').take, out, err, code };
}

test('a take is trimmed, scaled, mirrored, shifted and given to another servo', async () => {
  const { take, code } = await changed(
    ...['--trim', '1:2', '--scale', '0.5', '--about', '10', '--mirror', '0', '--shift', '5'],
    ...['--rename', 'wing_left:wing_right'],
  );
  expect(code).toBe(0);
  // 30 and 10 deg: half as far from 10 are 20 and 10, mirrored -20 and -10, shifted -15 and -5.
  expect(take!.servos[0]).toEqual({ name: 'wing_right', timesS: [0, 1], deg: [-15, -5] });
  expect(take!.servos[1]!.name).toBe('beak');
});

test('it is smoothed, and what is not needed of it left out', async () => {
  const smooth = (await changed('--smooth', '0.4')).take!;
  expect(smooth.servos[0]!.timesS).toHaveLength(151);
  const few = (await changed('--smooth', '0.4', '--tolerance', '0.5')).take!;
  expect(few.servos[0]!.timesS.length).toBeLessThan(20);
  expect(few.servos[0]!.deg.at(-1)).toBe(20);
});

test('it is written to a file, or refused with its place', async () => {
  const out = join(on.folder, 'other.take');
  const { out: said } = await changed('--out', out);
  expect(said).toContain(`written to ${out}`);
  expect(parseTake(await readFile(out, 'utf8'), 'other.take').take!.servos).toHaveLength(2);
  await writeFile(out, 'sinew take 1\nservo beak\n0 high\n');
  const bad = await run(['take', out], on.daemon);
  expect(bad.code).toBe(1);
  expect(bad.err + bad.out).toContain(`${out}:3:3: (file): "high" is not an angle`);
  const none = await run(['take', join(on.folder, 'none.take')], on.daemon);
  expect(none.code).toBe(1);
  expect(none.err + none.out).toContain('cannot be read (ENOENT)');
});

test('what cannot be meant is wrong usage', async () => {
  for (const args of [
    ['--trim', '2:1'],
    ['--trim', '2'],
    ['--smooth', 'much'],
    ['--scale', '-1'],
    ['--rename', 'beak'],
  ])
    expect((await changed(...args)).code, args.join(' ')).toBe(2);
});
