import { spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { needTools } from '../tools.ts';
import { Daemon, Peer } from './daemon.ts';

// The programs in the README, as they stand there, and the address of the schema in the examples.

const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const README = readFileSync(join(ROOT, 'README.md'), 'utf8');
/** Debian's own: another Python may come first on the path. */
const PYTHON = '/usr/bin/python3';

function program(language: string): string {
  const [, text] = new RegExp(`\`\`\`${language}\\n([^]*?)\`\`\``).exec(README) ?? [];
  if (text === undefined) throw new Error(`the README has no program in ${language}`);
  return text;
}

interface Entry {
  seq: number;
  what: string;
  text: string;
}

let daemon: Daemon;
let folder: string;
beforeAll(async () => {
  needTools('the Python program in the README', ['python3', 'python3-websockets'], () =>
    spawnSync(PYTHON, ['-c', 'import websockets']).status === 0 ? [] : ['python3-websockets'],
  );
  daemon = await Daemon.start();
  folder = mkdtempSync(join(tmpdir(), 'examples-'));
  symlinkSync(join(ROOT, 'node_modules'), join(folder, 'node_modules'));
  // Nobody knows where the servos stand on a first start; a person confirms that once.
  const peer = await Peer.holder(daemon);
  await peer.ask('park', { wait: true });
  await peer.ask('lease.release');
  await peer.close();
});
afterAll(async () => {
  await daemon.cleanUp();
  rmSync(folder, { recursive: true });
});

/** Runs it against our daemon; the text is the README's but for the port. */
function run(command: string, name: string, text: string) {
  const file = join(folder, name);
  writeFileSync(file, text.replaceAll('127.0.0.1:7420', `127.0.0.1:${daemon.port}`));
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
    const text = program(language);
    // About ten lines.
    expect(text.trim().split('\n').length).toBeLessThanOrEqual(14);
    const watcher = await Peer.connect(daemon);
    await watcher.ask('session.open', { client: 'watcher' });
    const before = (await watcher.ask('journal.read', { limit: 1 })).entries as Entry[];
    expect(await run(command, name, text)).toEqual({ code: 0, said: '' });
    const entries = (await watcher.ask('journal.read', { since: before.at(-1)!.seq }))
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
    const { code, said } = await run(command, name, program(language));
    expect(code).toBe(1);
    expect(said).toContain('holds the lease');
  }
  await other.close();
});

test('the schema is served at the address that a prop file names, also in a copied file', async () => {
  const [line] = readFileSync(join(ROOT, 'config/owl.yaml'), 'utf8').split('\n');
  const [, address] = /\$schema=(\S+)$/.exec(line!)!;
  const answer = await fetch(address!.replace(':7420', `:${daemon.port}`));
  expect(answer.status).toBe(200);
  expect(answer.headers.get('content-type')).toBe('application/schema+json');
  expect(await answer.text()).toBe(readFileSync(join(ROOT, 'config/prop.schema.json'), 'utf8'));
});
