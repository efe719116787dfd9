import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { PART_NAMES } from '../../src/prop/parts.ts';
import { propText, servo } from '../prop/helpers.ts';
import { FakeDaemon, run } from './fake-daemon.ts';

let daemon: FakeDaemon;
let folder: string;
beforeAll(async () => {
  daemon = await FakeDaemon.start();
  folder = await mkdtemp(join(tmpdir(), 'sinew-parts-'));
});
afterAll(async () => {
  await daemon.stop();
  await rm(folder, { recursive: true });
});

test('lists every part, and shows one with its source', async () => {
  const { out, code } = await run(['parts'], daemon);
  expect(code).toBe(0);
  for (const name of PART_NAMES) expect(out).toContain(name);
  const one = await run(['parts', 'servo-9g'], daemon);
  expect(one.out).toContain('draw: { idleA: 0.01, movingA: 0.25, stallA: 0.7 }');
  expect(one.out).toContain('Source: typical of published data sheets of this class');
  const json = JSON.parse((await run(['parts', 'servo-9g', '--json'], daemon)).out);
  expect(json).toMatchObject({ part: 'servo-9g', kind: 'servo', typical: { stallNm: 0.16 } });
});

test('an unknown one names the nearest', async () => {
  const { err, code } = await run(['parts', 'servo-9gg'], daemon);
  expect(err).toContain('there is no part servo-9gg; did you mean servo-9g?');
  expect(code).toBe(2);
});

test('check finds parts wherever it runs', async () => {
  const file = join(folder, 'p.yaml');
  await writeFile(
    file,
    propText(
      `a: ${servo(18, { part: 'servo-9g', rail: 'r6' })}`,
      'rails: { r6: { volts: 5, limitA: 2 } }',
    ),
  );
  const { out, code } = await run(['check', file], daemon);
  expect(out).toContain('no findings');
  expect(code).toBe(0);
});
