// Makes the code caches beside the bundles in a folder (src/startup/with-cache.ts), for the machine that this
// runs on: starts the daemon there on a simulated prop, and goes through a session with it, so that
// whatever is compiled on the way need not be compiled again in front of a real prop. Without the caches
// programs start slower, and do the same.
// usage: node make-cache.mjs FOLDER PROP
import { spawn } from 'node:child_process';
import { existsSync } from 'node:fs';
import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';

/** Those that a start waits for; the session makes its own, where it comes to its end. */
const MADE = ['daemon', 'worker', 'service'];
/** Longer than any board takes to start, to go through the session, and to write (ms). */
const PATIENCE_MS = 60_000;

/** By these a daemon would take a running service's files and socket for its own. */
const OF_A_SERVICE = ['RUNTIME_DIRECTORY', 'NOTIFY_SOCKET', 'WATCHDOG_PID', 'WATCHDOG_USEC'];

/** What a maker does, with the owl of config/owl.yaml. */
const SESSION = `move beak open
jog beak -4.5
mark beak ajar
undo
move head_turn 60
limit head_turn high
undo
rest head_turn
undo
pose alert
move tail open --over 0.5
colour eye_left #402000
dim lantern 0.3
switch mist on --for 0.2
identify fan
identify lantern
identify beak
cue blink
cue glance --loop
wait 0.3
move head_turn 60
park
wake --confirm-unknown
cue glance --loop
wait 0.3
stop
find W07
journal
wait 1
reset
lockout
unlock
`;
/** The mist rests first, as nobody knows how long it was on: no longer than the session takes to come to it. */
const RESTS = [/restS: \d+/, 'restS: 0.5'];

/** @returns whether every cache was made, and from the whole session */
export async function makeCache(folder, prop) {
  const home = await mkdtemp(join(tmpdir(), 'sinew-cache-'));
  const file = join(home, 'prop.yaml');
  const done = join(home, 'done');
  for (const name of MADE) await rm(join(folder, `${name}.cache`), { force: true });
  await writeFile(file, (await readFile(prop, 'utf8')).replace(...RESTS));
  const env = { ...process.env, SINEW_MAKE_CACHE: done };
  for (const name of OF_A_SERVICE) delete env[name];
  const daemon = spawn(
    process.execPath,
    [
      join(folder, 'daemon.js'),
      ...['--prop', file, '--state-dir', join(home, 'state'), '--listen', '127.0.0.1:0'],
    ],
    { env, stdio: ['ignore', 'pipe', 'ignore'] },
  );
  const ended = new Promise((resolve) => daemon.once('exit', resolve));
  const made = () => MADE.every((name) => existsSync(join(folder, `${name}.cache`)));
  const address = new Promise((resolve) => {
    let said = '';
    daemon.stdout.on('data', (text) => {
      said += text;
      const [, host] = /http:\/\/(\S+?)\/\s/.exec(said) ?? [];
      if (host) resolve(host);
    });
  });
  const late = sleep(PATIENCE_MS, undefined, { ref: false });
  let whole = false;
  const host = await Promise.race([address, ended.then(() => undefined), late]);
  if (host) {
    const session = spawn(
      process.execPath,
      [join(folder, 'cli.js'), '--host', host, '--wake', '--confirm-unknown', 'session'],
      { env, stdio: ['pipe', 'ignore', 'ignore'], timeout: PATIENCE_MS },
    );
    session.stdin.end(SESSION);
    whole = (await new Promise((resolve) => session.once('exit', resolve))) === 0;
  }
  await writeFile(done, '');
  const until = Date.now() + PATIENCE_MS;
  while (Date.now() < until && !made() && daemon.exitCode === null) await sleep(50);
  daemon.kill('SIGKILL');
  await rm(home, { recursive: true, force: true });
  return whole && made();
}

if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const [folder, prop] = process.argv.slice(2);
  if (!(await makeCache(folder, prop))) {
    process.stderr.write(
      'make-cache: not every cache could be made, or not from a whole session; programs start slower\n',
    );
    process.exitCode = 1;
  }
}
