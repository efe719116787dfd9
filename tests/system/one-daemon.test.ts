import { spawn } from 'node:child_process';
import { readFile, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { afterEach, expect, it } from 'vitest';
import { DAEMON, Daemon, OWL, Peer } from './daemon.ts';

const daemons: Daemon[] = [];
afterEach(async () => {
  for (const daemon of daemons.splice(0)) await daemon.cleanUp();
});
const start = async (options: Parameters<typeof Daemon.start>[0] = {}) => {
  const daemon = await Daemon.start(options);
  daemons.push(daemon);
  return daemon;
};

/** What a daemon that does not start says, and its exit code. */
function refused(prop: string, state: string): Promise<{ code: number | null; text: string }> {
  const args = [DAEMON, '--prop', prop, '--state-dir', state, '--listen', '127.0.0.1:0'];
  const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'pipe'] });
  let text = '';
  child.stderr.on('data', (data) => {
    text += data;
  });
  return new Promise((resolve) => {
    child.stdout.on('data', () => child.kill());
    child.once('exit', (code) => resolve({ code, text }));
  });
}

it('a second daemon for the same state folder refuses, and names the first one', async () => {
  const first = await start();
  const { code, text } = await refused(first.propFile, join(first.folder, 'state'));
  expect(code).toBe(1);
  expect(text).toContain(`another sinewd (process ${first.child.pid}) has the state folder`);
  // The first one goes on.
  const holder = await Peer.holder(first);
  await holder.close();
});

it('what a killed daemon has left behind keeps nobody out', async () => {
  const first = await start();
  await first.kill();
  const second = await start({ folder: first.folder });
  expect(second.child.pid).not.toBe(first.child.pid);
});

it('a second daemon for the same OSC port refuses, and names the first one', async () => {
  const osc = '\nosc: { port: 47193 }\n';
  const withOsc = async (daemon: { propFile: string }) => {
    const text = await readFile(OWL, 'utf8');
    await writeFile(
      daemon.propFile,
      text.replace(/\nosc:.*\n/, '\n').replace('\nboards:', `${osc}boards:`),
    );
  };
  const first = await start();
  await first.kill();
  await withOsc(first);
  const again = await start({ folder: first.folder });
  const other = await start();
  await other.kill();
  await withOsc(other);
  const { code, text } = await refused(other.propFile, join(other.folder, 'state'));
  expect(text).toContain(`another sinewd (process ${again.child.pid}) has OSC port 47193`);
  expect(code).toBe(1);
});
