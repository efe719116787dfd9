import { spawn, spawnSync } from 'node:child_process';
import {
  copyFileSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { parse } from 'yaml';
import { patientOwl } from '../faults/patient.ts';
import { firstSession, programIn } from '../readme.ts';
import { Terminal } from '../terminal.ts';
import { needTools } from '../tools.ts';
import { CLI, Daemon, Peer } from './daemon.ts';

// The first session and the programs in the README, as they stand there, and the address of the schema in
// the examples.

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
/** Debian's own: another Python may come first on the path. */
const PYTHON = '/usr/bin/python3';

interface Entry {
  seq: number;
  what: string;
  text: string;
}

let daemon: Daemon;
let folder: string;
/** An owl whose link may be silent for longer, as all this shares the processors with its daemon. */
let owl: string;
beforeAll(async () => {
  needTools('the Python program in the README', ['python3', 'python3-websockets'], () =>
    spawnSync(PYTHON, ['-c', 'import websockets']).status === 0 ? [] : ['python3-websockets'],
  );
  folder = mkdtempSync(join(tmpdir(), 'examples-'));
  owl = join(folder, 'owl.yaml');
  writeFileSync(owl, await patientOwl());
  daemon = await Daemon.start({ prop: owl });
  symlinkSync(join(ROOT, 'node_modules'), join(folder, 'node_modules'));
});
afterAll(async () => {
  await daemon.cleanUp();
  rmSync(folder, { recursive: true });
});

/** Runs it against our daemon: the README's text but for the port, and for a move that outlasts the link's timeout. */
function run(command: string, name: string, text: string) {
  const file = join(folder, name);
  const slower = text.replace(/(overS'?): 1\b/, '$1: 4');
  expect(slower).not.toBe(text);
  writeFileSync(file, slower.replaceAll('127.0.0.1:7420', `127.0.0.1:${daemon.port}`));
  const child = spawn(command, [file], { cwd: folder, stdio: ['ignore', 'pipe', 'pipe'] });
  let said = '';
  for (const stream of [child.stdout, child.stderr])
    stream.on('data', (data) => {
      said += data;
    });
  return new Promise<{ code: number | null; said: string }>((resolve) =>
    child.on('close', (code) => resolve({ code, said })),
  );
}

test.each([
  ['js', process.execPath, 'lids.mjs'],
  ['python', PYTHON, 'lids.py'],
])(
  'the program in %s wakes the owl, opens its lids, parks it, and keeps the link',
  async (language, command, name) => {
    const text = programIn(language);
    // About ten lines.
    expect(text.trim().split('\n').length).toBeLessThanOrEqual(14);
    const watcher = await Peer.connect(daemon);
    await watcher.ask('session.open', { client: 'watcher' });
    const before = (await watcher.ask('journal.read', { limit: 1 })).entries as Entry[];
    expect(await run(command, name, text)).toEqual({ code: 0, said: '' });
    const entries = (await watcher.ask('journal.read', { since: before.at(-1)?.seq ?? 0 }))
      .entries as Entry[];
    const events = entries.map(({ what }) => what);
    expect(events).toContain('group.move');
    expect(entries.map((entry) => entry.text)).toContain('parked');
    await watcher.close();
  },
);

test('a refusal is said in words', async () => {
  const other = await Peer.holder(daemon);
  for (const [language, command, name] of [
    ['js', process.execPath, 'lids.mjs'],
    ['python', PYTHON, 'lids.py'],
  ] as const) {
    const { code, said } = await run(command, name, programIn(language));
    expect(code).toBe(1);
    expect(said).toContain('holds the lease');
  }
  await other.close();
});

test("the README's first session: its prompts and answers are the program's own", async () => {
  const fresh = await Daemon.start({ prop: owl, known: false });
  const { command, answer, lines, shown } = firstSession();
  const terminal = Terminal.bare(command, {
    ...process.env,
    SINEW_HOST: `127.0.0.1:${fresh.port}`,
    XDG_STATE_HOME: fresh.folder,
  });
  try {
    expect(lines.length).toBeGreaterThanOrEqual(4);
    await terminal.answer(answer);
    for (const line of lines) await terminal.say(line);
    const seen = terminal.output.split(/[\r\n]+/);
    expect(seen.at(-1)).toMatch(/^live> $/);
    for (const [i, line] of shown.entries()) {
      const pattern = line.split('...').map((part) => part.replace(/[^\w ]/g, '\\$&'));
      expect(seen[i]).toMatch(new RegExp(`^${pattern.join('.*')}$`));
    }
  } finally {
    terminal.close();
    await fresh.cleanUp();
  }
});

test('the schema is served at the address that a prop file names, also in a copied file', async () => {
  // Somewhere else on the laptop, as the README tells a newcomer to begin.
  const copy = join(folder, 'crab.yaml');
  copyFileSync(join(ROOT, 'config/owl.yaml'), copy);
  const text = readFileSync(copy, 'utf8');
  const [, address] = /\$schema=(\S+)$/.exec(text.split('\n')[0]!)!;
  // The daemon of the test has a port of its own; the path is what counts.
  const answer = await fetch(address!.replace(':7420', `:${daemon.port}`));
  expect(answer.status).toBe(200);
  expect(answer.headers.get('content-type')).toBe('application/schema+json');
  const served = await answer.text();
  expect(served).toBe(readFileSync(join(ROOT, 'config/prop.schema.json'), 'utf8'));
  // What an editor does with it: JSON Schema, draft 2020-12, as implemented by ajv.
  const validate = new Ajv2020({ strict: false }).compile(JSON.parse(served));
  expect(validate(parse(text))).toBe(true);
  const slip = text.replace('speedDegS: 120', 'speedDegS: fast');
  expect(slip).not.toBe(text);
  expect(validate(parse(slip))).toBe(false);
  // The check itself needs neither the address nor a daemon.
  writeFileSync(copy, text.replace(address!, 'http://127.0.0.1:9/nothing-here.json'));
  const check = (...argv: string[]) =>
    spawnSync(process.execPath, [CLI, ...argv], {
      encoding: 'utf8',
      env: { ...process.env, SINEW_HOST: '127.0.0.1:9' },
    });
  // The picture was not copied, which is not a fault of the file.
  expect(check('check', copy, '--no-rehearsal')).toMatchObject({
    status: 0,
    stdout: expect.stringContaining('no findings'),
    stderr: expect.stringContaining('owl.svg is not beside'),
  });
  expect(check('explain', 'channels.servo.calibration')).toMatchObject({ status: 0, stderr: '' });
});
