import { type ChildProcess, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { chmod, mkdtemp, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { ATTACKS } from '../attack.ts';
import { Daemon, Peer } from './daemon.ts';

// Nobody without the token keeps a stop out of reach: the whole daemon, and attackers of their own.

const ATTACKER = fileURLToPath(new URL('attacker.ts', import.meta.url));
const TOKEN = randomBytes(32).toString('hex');

let folder: string;
let daemon: Daemon;
const attackers: ChildProcess[] = [];
beforeEach(async () => {
  folder = await mkdtemp(join(tmpdir(), 'sinew-token-'));
  const tokenFile = join(folder, 'token');
  await writeFile(tokenFile, `${TOKEN}\n`);
  await chmod(tokenFile, 0o600);
  daemon = await Daemon.start({ args: ['--token-file', tokenFile, '--log', 'error'] });
});
afterEach(async () => {
  for (const attacker of attackers.splice(0)) attacker.kill('SIGKILL');
  await daemon.cleanUp();
  await rm(folder, { recursive: true });
});

async function attack(count: number, kind: keyof typeof ATTACKS, pauseMs: number): Promise<void> {
  const given = ['--import', 'tsx', ATTACKER, daemon.port, count, kind, pauseMs].map(String);
  const attacker = spawn(process.execPath, given, { stdio: ['ignore', 'pipe', 'inherit'] });
  attackers.push(attacker);
  await new Promise((resolve) => attacker.stdout.once('data', resolve));
}

it.each([
  [40, 100, 92, 0],
  [150, 150, 30, 20],
])(
  'with %i sockets in a loop and %i half-sent requests, %i stops all get through',
  async (sockets, halfSent, stops, pauseMs) => {
    await attack(sockets, 'handshake', pauseMs);
    await attack(halfSent, 'half-sent', pauseMs);
    await attack(20, 'silent', pauseMs);
    let through = 0;
    for (let n = 0; n < stops; n++) {
      const peer = await Peer.connect(daemon);
      await peer.ask('session.open', { client: `hand ${n}`, token: TOKEN });
      const { condition } = await peer.ask('stop', { category: 1 });
      if (condition === 'stopped') through++;
      peer.socket.terminate();
    }
    expect(through).toBe(stops);
  },
);
