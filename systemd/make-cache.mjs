// Makes the code caches beside the bundles in a folder (src/with-cache.ts), for the machine that this
// runs on: starts the daemon there on a simulated prop for a moment. Without them programs start
// slower, and do the same.
// usage: node make-cache.mjs FOLDER PROP
import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

const MADE = ['daemon', 'worker', 'service'];
/** Longer than any board takes (ms). */
const PATIENCE_MS = 60_000;

/** By these a daemon would take a running service's files and socket for its own. */
const OF_A_SERVICE = ['RUNTIME_DIRECTORY', 'NOTIFY_SOCKET', 'WATCHDOG_PID', 'WATCHDOG_USEC'];

/** @returns whether every cache was made */
export async function makeCache(folder, prop) {
  const state = await mkdtemp(join(tmpdir(), 'sinew-cache-'));
  const env = { ...process.env, SINEW_MAKE_CACHE: '1' };
  for (const name of OF_A_SERVICE) delete env[name];
  const daemon = spawn(
    process.execPath,
    [
      join(folder, 'daemon.js'),
      ...['--prop', prop, '--state-dir', state, '--listen', '127.0.0.1:0'],
    ],
    { env, stdio: 'ignore' },
  );
  let ended = false;
  daemon.once('exit', () => {
    ended = true;
  });
  const made = () => MADE.every((name) => existsSync(join(folder, `${name}.cache`)));
  for (let ms = 0; ms < PATIENCE_MS && !ended && !made(); ms += 50) await sleep(50);
  daemon.kill('SIGKILL');
  await rm(state, { recursive: true, force: true });
  return made();
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const [folder, prop] = process.argv.slice(2);
  if (!(await makeCache(folder, prop))) {
    process.stderr.write('make-cache: not every cache could be made; programs start slower\n');
    process.exitCode = 1;
  }
}
