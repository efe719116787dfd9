import { spawnSync } from 'node:child_process';
import { readFile, rm, truncate } from 'node:fs/promises';
import { join } from 'node:path';
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

it('a lockoutis kept across restarts that is killed as soon as it has answered', async () => {
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

it('after a state that is damaged nothing wakes the prop until somebody has looked', async () => {
  expect(sinew('hand', 'lockout', 'freeing the beak')).toMatchObject({ status: 0 });
  await daemon.kill();
  const state = join(daemon.folder, 'state', 'state.json');
  await truncate(state, (await readFile(state)).length - 5);
  const again = async () => {
    daemon = await Daemon.start({ folder: daemon.folder, args: ['--log', 'error'] });
    const wake = sinew('desk', 'wake', '--confirm-unknown');
    expect(wake.status, wake.said).toBe(1);
    expect(wake.said).toMatch(/the saved state is damaged.*sinew unlock --force REASON/s);
  };
  await again();
  expect(sinew('desk', 'status').said).toMatch(/the saved state is damaged/);
  expect(sinew('hand', 'unlock').status).toBe(1);
  // A clean end writes a sound state, in which it must be as well.
  await daemon.kill('SIGTERM');
  expect(JSON.parse(await readFile(state, 'utf8')).lockout).toHaveLength(1);
  await again();
  const unlock = sinew('desk', 'unlock', '--force', 'I looked, nobody is there');
  expect(unlock.said).toMatch(/the lockout is cleared/);
  expect(sinew('desk', 'wake', '--confirm-unknown')).toMatchObject({ status: 0 });
});
