import { type ChildProcess, spawn } from 'node:child_process';
import fs from 'node:fs/promises';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { type Bundle, bundle } from './bundle.ts';
import { OWLET } from './owlet.ts';

/**
 * A daemon in small: the main thread logs far more than any buffer takes, and captures a mark meanwhile.
 * What it saw goes into a file, since nobody reads its output.
 */
const TALKER = `
import { writeFileSync } from 'node:fs';
import { ServiceHost } from './host.ts';
const [, , file, state, result, most] = process.argv;
const host = new ServiceHost(
  { file, stateDir: state, planDir: undefined, logLevel: 'info', pretty: process.stderr.isTTY === true },
  { file() {}, journal() {}, died() {}, restarted() {} },
);
await host.open();
let last = performance.now();
let gapMs = 0;
let id = 0;
let lines = 0;
const tick = setInterval(() => {
  const now = performance.now();
  gapMs = Math.max(gapMs, now - last);
  last = now;
  for (let i = 0; i < 20; i++) host.log('info', 'talker', {}, 'line ' + lines++ + ' ' + 'x'.repeat(180));
  host.print('out ' + 'y'.repeat(180));
  const message = host.nextChange();
  if (message?.t === 'begin') id = message.id;
  if (message?.t === 'end') host.change(id, 'adopted');
}, 5);
const by = { session: 's', client: 'c', what: 'mark' };
const path = ['channels', 'beak', 'marks', 'open'];
for (let i = 0; i < 5; i++) await host.capture([{ path, value: 20 + i }], by);
while (lines < most) await new Promise((resolve) => setTimeout(resolve, 10));
clearInterval(tick);
await host.flush(5000);
writeFileSync(result, JSON.stringify({ gapMs, lines }));
process.exit(7);
`;

/** Holds a terminal: argv[1] is what is typed at first, then nothing is read any more. */
const TERMINAL = `
import os, pty, sys, time
typed, command = sys.argv[1].encode().decode('unicode_escape').encode('latin1'), sys.argv[2:]
pid, master = pty.fork()
if pid == 0:
    os.execv(command[0], command)
time.sleep(0.2)
if typed:
    os.write(master, typed)
_, status = os.waitpid(pid, 0)
sys.exit(os.waitstatus_to_exitcode(status))
`;

let made: Bundle;
let folder: string;
beforeAll(async () => {
  made = await bundle({ talker: TALKER });
});
afterAll(() => made.remove());
beforeEach(async () => {
  folder = await fs.mkdtemp(join(tmpdir(), 'sinew-outlet-'));
  await fs.writeFile(join(folder, 'owl.yaml'), OWLET);
});

/** @param most so many lines are said */
const talker = (most = 6000) => [
  join(made.folder, 'talker.js'),
  join(folder, 'owl.yaml'),
  join(folder, 'state'),
  join(folder, 'result'),
  String(most),
];
const ended = (child: ChildProcess) =>
  new Promise<number | null>((resolve) => child.once('exit', resolve));
const result = async () => JSON.parse(await fs.readFile(join(folder, 'result'), 'utf8'));
const isCaptured = async () =>
  (await fs.readFile(join(folder, 'owl.yaml'), 'utf8')).includes('open: 24 }');

describe('the log never holds anybody up', () => {
  test('a pipe that nobody reads', async () => {
    const child = spawn(process.execPath, talker(), { stdio: ['ignore', 'pipe', 'pipe'] });
    // Without anybody who listens, nothing is read.
    expect(await ended(child)).toBe(7);
    expect(await isCaptured()).toBe(true);
    expect((await result()).lines).toBeGreaterThanOrEqual(6000);
  });

  test.each([
    ['on which somebody has typed Ctrl-S', '\\x13'],
    ['that nobody looks at', ''],
  ])('a terminal %s', async (_what, typed) => {
    const child = spawn('python3', ['-c', TERMINAL, typed, process.execPath, ...talker()], {
      stdio: ['ignore', 'ignore', 'inherit'],
    });
    expect(await ended(child)).toBe(7);
    expect(await isCaptured()).toBe(true);
  });

  test('a socket that nobody reads, as that of the journal', async () => {
    const path = join(folder, 'socket');
    const server = createServer({ pauseOnConnect: true }).listen(path);
    await new Promise((resolve) => server.once('listening', resolve));
    // The program gets the socket itself, not a pipe to it.
    const connect = `
import socket, os, sys
s = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
s.connect(sys.argv[1])
os.dup2(s.fileno(), 1)
os.dup2(s.fileno(), 2)
os.execv(sys.argv[2], sys.argv[2:])
`;
    const child = spawn('python3', ['-c', connect, path, process.execPath, ...talker()], {
      stdio: 'ignore',
    });
    const code = await ended(child);
    server.close();
    expect(code).toBe(7);
    expect(await isCaptured()).toBe(true);
  });
});

test('what is read arrives whole and in order, in a pipe and in a file', async () => {
  const log = await fs.open(join(folder, 'log'), 'w');
  // Together they are fewer than may wait: on a disk that is slow now, none are lost.
  const child = spawn(process.execPath, talker(600), { stdio: ['ignore', 'pipe', log.fd] });
  let out = '';
  child.stdout!.on('data', (data) => {
    out += data;
  });
  const done = Promise.all([
    ended(child),
    new Promise((resolve) => child.stdout!.once('end', resolve)),
  ]);
  expect((await done)[0]).toBe(7);
  await log.close();
  const entries = (await fs.readFile(join(folder, 'log'), 'utf8'))
    .split('\n')
    .filter((line) => line.startsWith('{'))
    .map((line) => JSON.parse(line) as { name: string; msg: string })
    .filter(({ name }) => name === 'talker');
  const { lines } = await result();
  expect(entries.map(({ msg }) => Number(msg.split(' ')[1]))).toEqual(
    Array.from({ length: lines }, (_, i) => i),
  );
  expect(out.split('\n').filter(Boolean).length).toBe(lines / 20);
});

test('what is lost is counted', async () => {
  // Reads nothing until the program has said all, then everything.
  const child = spawn(process.execPath, talker(), { stdio: ['ignore', 'ignore', 'pipe'] });
  const stream = child.stderr!;
  await new Promise((resolve) => setTimeout(resolve, 1500));
  let text = '';
  stream.on('data', (data) => {
    text += data;
  });
  await Promise.all([ended(child), new Promise((resolve) => stream.once('end', resolve))]);
  const entries = text
    .split('\n')
    .filter((line) => line.startsWith('{'))
    .map((line) => JSON.parse(line) as { msg: string });
  const entriesSent = entries.flatMap(
    ({ msg }) => /^(\d+) lines of the log are lost/.exec(msg)?.[1] ?? [],
  );
  const lost = entriesSent.reduce((sum, one) => sum + Number(one), 0);
  const got = entries.filter(({ msg }) => msg.startsWith('line ')).length;
  const { lines } = await result();
  expect(got + lost).toBeGreaterThanOrEqual(lines);
});
