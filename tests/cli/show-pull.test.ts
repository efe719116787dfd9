import { execFileSync } from 'node:child_process';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { PROP } from '../show/birds.ts';
import { FakeDaemon, run } from './fake-daemon.ts';

let daemon: FakeDaemon;
let folder: string;
let text = PROP;
let entries = [
  { seq: 1, time: '2026-05-04T10:15:00.000Z', tick: 1, who: 'desk', what: 'wake', text: 'awake' },
];
beforeEach(async () => {
  daemon = await FakeDaemon.start();
  folder = await mkdtemp(join(tmpdir(), 'sinew-pull-'));
  text = PROP;
  daemon.handlers['prop.read'] = () => ({ text, version: 'aaaaaaaaaaaaaaaa' });
  daemon.handlers['journal.read'] = () => ({ entries });
  await writeFile(join(folder, 'bird.yaml'), PROP);
  await writeFile(
    join(folder, 'SHOW.yaml'),
    `sinewShow: 1
name: foyer
props: { left: { file: bird.yaml, address: "${daemon.host}" }, top: { file: bird.yaml } }
timeline: [{ at: 0, go: { left: nod } }]
`,
  );
});
afterEach(async () => {
  await daemon.stop();
  await rm(folder, { recursive: true });
});

const show = (what: string) =>
  run(['show', what, join(folder, 'SHOW.yaml'), join(folder, 'kept')], daemon);
const log = () =>
  execFileSync('git', ['-C', join(folder, 'kept'), 'log', '--format=%s'], { encoding: 'utf8' });

test('pull keeps what a prop has, under git, and asks it for nothing but that', async () => {
  const first = await show('pull');
  // Of the other there is no address.
  expect(first.code).toBe(1);
  expect(first.out).toMatch(
    /^top: the show has no address of it; add address: HOST:PORT\nleft: version a/,
  );
  expect(await readFile(join(folder, 'kept/left/prop.yaml'), 'utf8')).toBe(PROP);
  expect(log()).toBe('Show foyer: left\n');
  expect(new Set(daemon.methods)).toEqual(new Set(['prop.read', 'prop.history', 'journal.read']));
  expect((await show('pull')).out).toMatch(/0 new entries.*\nnothing has changed/);
  entries = [...entries, { ...entries[0]!, seq: 2, time: '2026-05-04T10:16:00.000Z' }];
  expect((await show('pull')).out).toMatch(/1 new entries/);
  const journal = await readFile(join(folder, 'kept/left/journal.jsonl'), 'utf8');
  expect(
    journal
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line).seq),
  ).toEqual([1, 2]);
  expect(log().trimEnd().split('\n')).toHaveLength(2);
});

test('diff says what has changed since', async () => {
  expect((await show('diff')).out).toMatch(/left: not in .* yet; sinew show pull/);
  await show('pull');
  expect((await show('diff')).out).toMatch(/left: the same/);
  text = PROP.replace('limitA: 5', 'limitA: 6');
  const { out, code } = await show('diff');
  expect(code).toBe(1);
  expect(out).toMatch(
    /left: differs:\n {2}@@ line 4\n {2}- rails.*limitA: 5.*\n {2}\+ rails.*limitA: 6/,
  );
});
