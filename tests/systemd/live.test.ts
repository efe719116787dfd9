import { type ChildProcess, execFileSync, spawn, spawnSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { type Daemon, Peer } from '../system/daemon.ts';
import { needTools } from '../tools.ts';

/** The unit under a real systemd: process 1 of namespaces of its own. */

const clone = fileURLToPath(new URL('../..', import.meta.url)).replace(/\/$/, '');
const NAMESPACES = ['--pid', '--mount', '--uts', '--ipc', '--cgroup'];
const isRoot = process.platform === 'linux' && process.getuid?.() === 0;
if (isRoot)
  needTools('the unit under systemd', ['systemd'], () =>
    existsSync('/lib/systemd/systemd') ? [] : ['systemd'],
  );
const possible =
  isRoot &&
  spawnSync('unshare', [...NAMESPACES, '--fork', 'mount', '-t', 'tmpfs', 'tmpfs', '/opt'])
    .status === 0;
if (!possible)
  console.warn('not root, or without namespaces: the unit is not run under systemd here');

let machine: ChildProcess;
/** Process 1 of the machine, as it is seen from outside. */
let init: number;
let log = '';

const within = (...command: string[]) =>
  execFileSync('nsenter', ['-t', String(init), '-m', '-p', '-u', '-i', '-C', ...command], {
    encoding: 'utf8',
  });
const inside = (path: string) => join(`/proc/${init}/root`, path);
const shown = (property: string) =>
  within('systemctl', 'show', `--property=${property}`, '--value', 'sinewd').trim();
const sleep = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

async function untilActive(): Promise<string> {
  for (const endMs = performance.now() + 30_000; shown('ActiveState') !== 'active'; await sleep(50))
    if (performance.now() > endMs) throw new Error(`sinewd does not start\n${log}\n${said()}`);
  return shown('MainPID');
}
const said = () => readFileSync(inside('/run/said'), 'utf8');

/** The daemon as a peer needs it: where it listens. */
function listening(): Daemon {
  const [, port] = said().match(/http:\/\/127\.0\.0\.1:(\d+)\/(?![\s\S]*http:)/)!;
  return { port: Number(port) } as Daemon;
}

beforeAll(async () => {
  if (!possible) return;
  const script = join(clone, 'tests/systemd/machine.sh');
  machine = spawn('unshare', [
    ...[...NAMESPACES, '--fork', '--kill-child', '--mount-proc', 'sh', script, clone],
  ]);
  for (const stream of [machine.stdout!, machine.stderr!])
    stream.on('data', (data) => {
      log += data;
    });
  const children = `/proc/${machine.pid}/task/${machine.pid}/children`;
  for (let left = 100; ; left--) {
    init = Number(readFileSync(children, 'utf8').trim());
    if (init && existsSync(inside('/run/systemd/private'))) break;
    if (left === 0) throw new Error(`systemd does not start\n${log}`);
    await sleep(100);
  }
  within('systemctl', 'start', 'sinewd');
});
afterAll(() => {
  machine?.kill('SIGKILL');
});

describe.skipIf(!possible)('under systemd', () => {
  it.each([
    ['is killed', 'KILL'],
    ['crashes', 'SEGV'],
    ['is stopped as a whole', 'STOP'],
    ['has a core that spins', 'USR2'],
    // Other programs on this machine may hold up systemd itself; one time in three that they do not counts.
  ])('a daemon that %s is safe within 1 s, and comes back', { retry: 2 }, async (_, signal) => {
    // A while after its start, in which a busy machine may cost it its watchdog.
    let before = '';
    while (before !== shown('MainPID')) {
      before = await untilActive();
      await sleep(1000);
    }
    const marker = inside('/run/sinew/safe-levels.log');
    rmSync(marker, { force: true });
    const killedMs = Date.now();
    within('kill', `-${signal}`, before);
    while (!existsSync(marker)) await sleep(10);
    // Half of the second is systemd's, which waits for a sign of life that does not come.
    expect(statSync(marker).mtimeMs - killedMs).toBeLessThanOrEqual(1000);
    expect(readFileSync(marker, 'utf8')).toMatch(/fan .* high/);
    while (shown('MainPID') === before) await sleep(50);
    expect(await untilActive()).not.toBe(before);
  });

  it('one that is to end parks first, however long that takes', async () => {
    await untilActive();
    const holder = await Peer.holder(listening());
    await holder.ask('channel.move', { channel: 'wing_left', to: 'spread', wait: true });
    const askedMs = Date.now();
    within('systemctl', 'stop', 'sinewd');
    // Longer than the watchdog's period: the wing needs it.
    expect(Date.now() - askedMs).toBeGreaterThan(500);
    expect(shown('Result')).toBe('success');
    expect(shown('ActiveState')).toBe('inactive');
    const state = JSON.parse(readFileSync(inside('/var/lib/sinew/state.json'), 'utf8'));
    expect(state.settled).toBe(true);
    expect(existsSync(inside('/run/sinew'))).toBe(false);
    holder.socket.terminate();
  });

  it('it never ran with more rights than it was given', async () => {
    within('systemctl', 'start', 'sinewd');
    const status = within('cat', `/proc/${await untilActive()}/status`);
    // proc(5): no capabilities, no new privileges, a system call filter.
    expect(status).toMatch(/^CapEff:\s+0+$/m);
    expect(status).toMatch(/^CapBnd:\s+0+$/m);
    expect(status).toMatch(/^NoNewPrivs:\s+1$/m);
    expect(status).toMatch(/^Seccomp:\s+2$/m);
  });
});
