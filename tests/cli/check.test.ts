import { mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { propText, relay } from '../prop/helpers.ts';
import { FakeDaemon, run } from './fake-daemon.ts';

let daemon: FakeDaemon;
let folder: string;
beforeAll(async () => {
  daemon = await FakeDaemon.start();
  folder = await mkdtemp(join(tmpdir(), 'sinew-check-'));
});
afterAll(async () => {
  await daemon.stop();
  await rm(folder, { recursive: true });
});

async function written(text: string): Promise<string> {
  const file = join(folder, 'p.yaml');
  await writeFile(file, text);
  return file;
}

/** Sound by itself: only in the rehearsal the second closure comes too soon. */
const TWICE = propText(
  `a: ${relay(17, { duty: '{ maxOnS: 2, restS: 100 }' })}`,
  'cues:\n  twice:\n    - { name: x, at: 0, cue: puff }\n    - { after: x, at: 1, cue: puff }\n  puff:\n    - { at: 0, switch: { a: on }, forS: 1.5 }',
);

test('check rehearses the prop, unless it is told not to', async () => {
  const file = await written(TWICE);
  const whole = await run(['check', file], daemon);
  expect(whole.out).toMatch(
    /:12:\d+: cues\.puff\[0\]: warning: a opened after 2 s.*\(rehearsed: cue twice/,
  );
  expect(whole.out).toContain('1 finding');
  expect(whole.code).toBe(1);
  const alone = await run(['check', file, '--no-rehearsal'], daemon);
  expect(alone.out).toContain('no findings');
  expect(alone.code).toBe(0);
  const json = JSON.parse((await run(['check', file, '--json'], daemon)).out);
  expect(json.findings).toMatchObject([{ path: 'cues.puff[0]', severity: 'warning' }]);
});
