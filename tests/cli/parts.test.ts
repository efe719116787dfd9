import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { PART_NAMES } from '../../src/prop/parts.ts';
import { propText, servo } from '../prop/helpers.ts';
import { run } from './fake-daemon.ts';
import { setting } from './setting.ts';

const on = setting('file');

test('lists every part, and shows one with its source', async () => {
  const { out, code } = await run(['parts'], on.daemon);
  expect(code).toBe(0);
  for (const name of PART_NAMES) expect(out).toContain(name);
  const one = await run(['parts', 'servo-9g'], on.daemon);
  expect(one.out).toContain('draw: { idleA: 0.01, movingA: 0.25, stallA: 0.7 }');
  expect(one.out).toContain('Source: typical of published data sheets of this class');
  const json = JSON.parse((await run(['parts', 'servo-9g', '--json'], on.daemon)).out);
  expect(json).toMatchObject({ part: 'servo-9g', kind: 'servo', typical: { stallNm: 0.16 } });
});

test('an unknown one names the nearest', async () => {
  const { err, code } = await run(['parts', 'servo-9gg'], on.daemon);
  expect(err).toContain('there is no part servo-9gg; did you mean servo-9g?');
  expect(code).toBe(2);
});

test('check finds parts wherever it runs', async () => {
  const file = join(on.folder, 'p.yaml');
  await writeFile(
    file,
    propText(
      `a: ${servo(18, { part: 'servo-9g', rail: 'r6' })}`,
      'rails: { r6: { volts: 5, limitA: 2 } }',
    ),
  );
  const { out, code } = await run(['check', file], on.daemon);
  expect(out).toContain('no findings');
  expect(code).toBe(0);
});
