import fs from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { MessageChannel, Worker } from 'node:worker_threads';
import { afterAll, afterEach, beforeAll, beforeEach, expect, test } from 'vitest';
import type { ChangeMessage } from '../../src/core/core-prop.ts';
import type { FileStatus } from '../../src/prop/file/status.ts';
import { versionOf } from '../../src/prop/file/version.ts';
import { CannotOpen, ServiceHost } from '../../src/service/host.ts';
import { Refusal } from '../../src/shared/errors.ts';
import { type Bundle, bundle } from './bundle.ts';
import { OWLET } from './owlet.ts';

let made: Bundle;
let folder: string;
let file: string;
let host: ServiceHost;
let threads: Worker[];
const heard: string[] = [];
let status: FileStatus | undefined;
let ticking: NodeJS.Timeout;
/** The core answers changes. */
let answers: boolean;
let changes: ChangeMessage[];

beforeAll(async () => {
  made = await bundle();
});
afterAll(() => made.remove());
beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-host-'));
  file = join(folder, 'owl.yaml');
  await fs.writeFile(file, OWLET);
  threads = [];
  heard.length = 0;
  answers = true;
  changes = [];
  host = new ServiceHost(
    { file, stateDir: join(folder, 'state'), planDir: undefined, logLevel: 'error', pretty: false },
    {
      file: (one) => {
        status = one;
      },
      journal: (_who, _what, text) => heard.push(text),
      kept: (seq) => heard.push(`kept: ${seq}`),
      died: (why) => heard.push(`died: ${why}`),
      restarted: () => heard.push('restarted'),
    },
    (start, handOver) => {
      const thread = new Worker(join(made.folder, 'service.js'), {
        workerData: start,
        transferList: handOver,
        resourceLimits: { maxYoungGenerationSizeMb: 4, maxOldGenerationSizeMb: 48 },
        stdout: true,
        stderr: true,
      });
      threads.push(thread);
      return thread;
    },
  );
  let id = 0;
  ticking = setInterval(() => {
    host.receive();
    const message = host.nextChange();
    if (!message) return;
    changes.push(message);
    if (message.t === 'begin') id = message.id;
    if (message.t === 'end' && answers) host.change(id, 'adopted');
  }, 2);
});
afterEach(async () => {
  clearInterval(ticking);
  await host.close();
  await fs.rm(folder, { recursive: true });
});

const BY = { session: 's', client: 'laptop', what: 'mark open of beak' };
const edit = (value: number) => [{ path: ['channels', 'beak', 'marks', 'open'], value }];
const until = async (isTrue: () => boolean) => {
  while (!isTrue()) await new Promise((resolve) => setTimeout(resolve, 2));
};
const STATE = { settled: true, positions: { beak: 3 }, duty: {} };
const PLAN = {
  version: 1 as const,
  prop: 'x',
  // No process has this id (PID_MAX_LIMIT, linux/threads.h): its life is not looked up.
  daemon: { pid: 99_999_999, startTicks: 1, bootId: 'b' },
  boards: [],
};

test('opens, writes the plan, captures, undoes, saves the state, answers the gateway', async () => {
  const opened = await host.open();
  expect(opened).toMatchObject({ version: versionOf(OWLET), restored: 'none' });
  expect(JSON.parse(Buffer.from(opened.view).toString())).toMatchObject({ name: 'Foyer owl' });
  await host.writePlan(PLAN);
  expect(JSON.parse(await fs.readFile(join(folder, 'state/safe-plan.json'), 'utf8'))).toEqual(PLAN);
  const { version } = await host.capture(edit(28), BY);
  expect(version).toBe(versionOf(await fs.readFile(file, 'utf8')));
  expect(changes.map(({ t }) => t)).toEqual(['begin', 'channel', 'cue', 'end']);
  await until(() => status?.version === version);
  expect(await host.undo(BY)).toMatchObject({ version: versionOf(OWLET) });
  await host.saveState(STATE, true);
  expect(JSON.parse(await fs.readFile(join(folder, 'state/state.json'), 'utf8'))).toMatchObject(
    STATE,
  );
  const { port1, port2 } = new MessageChannel();
  host.connectGateway(port2);
  const answer = new Promise<{ text: string }>((resolve) => port1.once('message', resolve));
  port1.postMessage({
    t: 'ask',
    id: 5,
    session: 's',
    method: 'loom.find',
    params: { text: 'W07' },
  });
  expect(JSON.parse((await answer).text)).toMatchObject({ wires: [{ label: 'W07' }] });
  // Worked out in the planner's thread.
  const check = new Promise<{ text: string }>((resolve) => port1.once('message', resolve));
  port1.postMessage({
    t: 'ask',
    id: 6,
    session: 's',
    method: 'prop.check',
    params: { text: 'a: b' },
  });
  expect(JSON.parse((await check).text).findings[0]).toMatchObject({
    code: expect.stringMatching(/^[a-z-]+\.[a-z-]+$/),
    level: 'error',
    line: 1,
  });
  await host.flush(5000);
});

test('its answers wake nobody, and are heard without ticks as well', async () => {
  await host.open();
  let woken = 0;
  threads[0]!.on('message', () => woken++);
  await host.writePlan(PLAN);
  await host.capture(edit(28), BY);
  clearInterval(ticking);
  await host.saveState(STATE, true);
  await host.flush(5000);
  expect(woken).toBe(0);
});

test('a refusal comes back as one', async () => {
  await host.open();
  const error = await host.capture(edit(99), BY).catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(Refusal);
  expect(error).toMatchObject({ kind: 'outOfLimits' });
});

test('a file that cannot be opened: whole lines', async () => {
  await fs.writeFile(file, 'sinew: 2\n');
  const error = await host.open().catch((reason: unknown) => reason);
  expect(error).toBeInstanceOf(CannotOpen);
  expect((error as CannotOpen).lines.at(-1)).toMatch(/^sinewd: .*has errors; nothing was started$/);
});

test('a thread that dies is started again; what was under way is not known', async () => {
  await host.open();
  await host.writePlan(PLAN);
  await host.capture(edit(28), BY);
  // Written, but the core has not taken it over.
  answers = false;
  const capture = host.capture(edit(29), BY).catch((reason: unknown) => reason);
  await until(() => changes.filter(({ t }) => t === 'end').length === 2);
  answers = true;
  changes = [];
  void threads[0]!.terminate();
  expect(await capture).toMatchObject({
    kind: 'internal',
    message: expect.stringMatching(
      /not known whether mark open of beak was written.*prop\.history/,
    ),
  });
  const saved = host.saveState(STATE, true);
  expect(await host.undo(BY).catch(({ message }: Error) => message)).toMatch(/starts again/);
  await until(() => heard.includes('restarted'));
  // The state was asked for while there was no thread.
  await saved;
  expect(JSON.parse(await fs.readFile(join(folder, 'state/state.json'), 'utf8'))).toMatchObject(
    STATE,
  );
  // What was written reaches the core after all.
  const written = versionOf(await fs.readFile(file, 'utf8'));
  await until(() => status?.version === written);
  expect(changes[0]).toMatchObject({ changed: ['marks.open of beak: 28 becomes 29'] });
  await host.capture(edit(30), BY);
  expect(heard.slice(0, 2)).toEqual([expect.stringMatching(/^died: /), 'restarted']);
  const next = await fs.readFile(file, 'utf8');
  expect(next).toBe(OWLET);
});

test('what the thread prints by itself goes through the log, not through streams that block', async () => {
  await host.open();
  let printed = '';
  threads[0]!.stderr.on('data', (data) => {
    printed += data;
  });
  expect(threads[0]!.stderr.listenerCount('data')).toBeGreaterThanOrEqual(2);
  expect(printed).toBe('');
});

test('a file that takes more memory to check than there is: the thread lives, the prop goes on', async () => {
  await host.open();
  await host.writePlan(PLAN);
  // Just below the size that is refused unread.
  const cues = Array.from(
    { length: 15_000 },
    (_, i) => `  cue_${i}:\n    - { at: 0, pose: asleep, overS: 2 }\n`,
  );
  const text = OWLET.replace('\ncues:\n', `\ncues:\n${cues.join('')}`).slice(0, 1024 * 1024);
  const end = text.lastIndexOf('\n  cue_');
  await fs.writeFile(file, `${text.slice(0, end)}\n${OWLET.slice(OWLET.indexOf('triggers:'))}`);
  await until(() => status?.problem !== undefined);
  expect(status).toMatchObject({
    version: versionOf(OWLET),
    problem: expect.stringMatching(/more memory/),
  });
  expect(threads).toHaveLength(1);
  await host.saveState(STATE, true);
});
