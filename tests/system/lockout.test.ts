import { spawnSync } from 'node:child_process';
import { rm } from 'node:fs/promises';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { CLI, Daemon } from './daemon.ts';

// Hands in the prop, from the command line, with the whole daemon.

let daemon: Daemon;
beforeEach(async () => {
  daemon = await Daemon.start({ args: ['--log', 'error'] });
});
afterEach(async () => {
  await daemon.cleanUp();
  await rm(daemon.folder, { recursive: true, force: true });
});

function sinew(name: string, ...args: string[]) {
  const host = `127.0.0.1:${daemon.port}`;
  const given = [CLI, '--host', host, '--name', name, ...args];
  const { status, stdout, stderr } = spawnSync(process.execPath, given, { encoding: 'utf8' });
  return { status, said: stdout + stderr };
}

it('a lockout outlives the daemon that is killed as soon as it has answered', async () => {
  expect(sinew('hand', 'lockout', 'freeing the beak')).toMatchObject({ status: 0 });
  await daemon.kill();
  daemon = await Daemon.start({ folder: daemon.folder, args: ['--log', 'error'] });
  const wake = sinew('desk', 'wake');
  expect(wake.status, wake.said).toBe(1);
  expect(wake.said).toMatch(/hand.*freeing the beak/);
  expect(sinew('desk', 'status').said).toMatch(/freeing the beak/);
  // Only whoever set it clears it.
  expect(sinew('desk', 'unlock').said).toMatch(/freeing the beak/);
  expect(sinew('desk', 'wake').status).toBe(1);
  expect(sinew('hand', 'unlock').said).toMatch(/the lockout is cleared/);
  expect(sinew('desk', 'wake')).toMatchObject({ status: 0 });
});
