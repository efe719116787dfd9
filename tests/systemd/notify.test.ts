import { mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Daemon, OWL, Peer } from '../system/daemon.ts';
import { NotifySocket } from './socket.ts';

const BLOCK = fileURLToPath(new URL('block.mjs', import.meta.url));
const KILL_GATEWAY = fileURLToPath(new URL('../system/kill-gateway.mjs', import.meta.url));
const WATCHDOG_MS = 500;

let socket: NotifySocket;
let folder: string;
let daemon: Daemon | undefined;
beforeEach(async () => {
  socket = new NotifySocket();
  folder = await mkdtemp(join(tmpdir(), 'sinew-systemd-'));
});
afterEach(async () => {
  daemon?.child.kill('SIGCONT');
  await daemon?.cleanUp();
  daemon = undefined;
  socket.close();
  await rm(folder, { recursive: true });
});

/** Starts the owl with 1 s to park in, as systemd would with WatchdogSec=500ms. */
async function start(env: NodeJS.ProcessEnv = {}, nodeArgs: string[] = []): Promise<Daemon> {
  const prop = join(folder, 'owl.yaml');
  await writeFile(prop, (await readFile(OWL, 'utf8')).replace('deadlineS: 6', 'deadlineS: 1'));
  const given = {
    NOTIFY_SOCKET: socket.path,
    WATCHDOG_USEC: String(WATCHDOG_MS * 1000),
    RUNTIME_DIRECTORY: folder,
    ...env,
  };
  Object.assign(process.env, given);
  try {
    daemon = await Daemon.start({ prop, nodeArgs });
    return daemon;
  } finally {
    for (const name of Object.keys(given)) delete process.env[name];
  }
}

const sleep = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));
async function until(what: () => boolean): Promise<void> {
  while (!what()) await sleep(10);
}

const gapsMs = (all: readonly { atMs: number }[]): number[] =>
  all.slice(1).map(({ atMs }, at) => atMs - all[at]!.atMs);

/** Once the gateway answers again: there was no gap in the signs of life, and more of them come. */
async function signsGoOn(): Promise<void> {
  const health = () =>
    fetch(new URL('/health', daemon!.url), { signal: AbortSignal.timeout(500) }).catch(
      () => undefined,
    );
  while ((await health())?.status !== 200) await sleep(50);
  const signs = socket.count('WATCHDOG=1');
  await until(() => socket.count('WATCHDOG=1') > signs + 2);
  const gaps = gapsMs(socket.received.filter(({ state }) => state === 'WATCHDOG=1'));
  expect(Math.max(...gaps)).toBeLessThan(WATCHDOG_MS);
}

describe('started by systemd', () => {
  it('it says when it is ready, and gives a sign of life twice in every watchdog period', async () => {
    const { url } = await start();
    await until(() => socket.count('READY=1') === 1);
    expect((await fetch(new URL('/health', url))).status).toBe(200);
    await sleep(4 * WATCHDOG_MS);
    expect(socket.received[0]!.state).toBe('READY=1');
    const signs = socket.received.filter(({ state }) => state === 'WATCHDOG=1');
    const gaps = gapsMs(signs);
    // sd_watchdog_enabled(3): "every half of the time returned here".
    const median = gaps.toSorted((a, b) => a - b)[Math.floor(gaps.length / 2)]!;
    expect(median).toBeLessThanOrEqual(WATCHDOG_MS / 2);
    expect(Math.max(...gaps)).toBeLessThan(WATCHDOG_MS);
  });

  it('it leaves its plan in RUNTIME_DIRECTORY', async () => {
    const { child } = await start();
    const plan = JSON.parse(await readFile(join(folder, 'safe-plan.json'), 'utf8'));
    expect(plan.daemon.pid).toBe(child.pid);
  });

  it('it goes on giving signs of life while it parks, then asks for time to end in', async () => {
    const { child } = await start();
    const holder = await Peer.holder(daemon!);
    await holder.ask('channel.move', { channel: 'wing_left', to: 'spread', wait: true });
    child.kill('SIGTERM');
    expect(await daemon!.ended()).toBe(0);
    const states = socket.received.map(({ state }) => state);
    const stopping = states.indexOf('STOPPING=1');
    const ending = states.findIndex((state) => state.startsWith('WATCHDOG_USEC='));
    expect(stopping).toBeGreaterThan(0);
    expect(ending).toBeGreaterThan(stopping);
    const gaps = gapsMs(socket.received.slice(stopping, ending + 1));
    expect(Math.max(...gaps)).toBeLessThan(WATCHDOG_MS);
  });

  it.each([
    ['a stopped process', 'SIGSTOP', {}, []],
    ['a core that spins', 'SIGUSR2', { SINEW_TEST_BLOCK: 'core' }, ['--import', BLOCK]],
  ] as const)('the signs of life end at once with %s', async (_, signal, env, nodeArgs) => {
    const { child } = await start(env, [...nodeArgs]);
    await until(() => socket.count('WATCHDOG=1') >= 2);
    child.kill(signal);
    await sleep(50);
    const signs = socket.count('WATCHDOG=1');
    await sleep(2 * WATCHDOG_MS);
    expect(socket.count('WATCHDOG=1')).toBe(signs);
  });

  it('a gateway that spins is ended and started again, and they go on', async () => {
    const { child } = await start({ SINEW_TEST_BLOCK: 'gateway' }, ['--import', BLOCK]);
    await until(() => socket.count('WATCHDOG=1') >= 2);
    child.kill('SIGUSR2');
    await until(() => socket.sinceMs('READY=1') > 1000);
    await signsGoOn();
  });

  it('a gateway that crashes and comes back does not end them', async () => {
    const { child } = await start({}, ['--import', KILL_GATEWAY]);
    await until(() => socket.count('WATCHDOG=1') >= 2);
    child.kill('SIGUSR2');
    await sleep(2 * WATCHDOG_MS);
    await signsGoOn();
  });

  it('no signs of life are given that are meant for another process, or that nobody asked for', async () => {
    await start({ WATCHDOG_PID: '1' });
    await until(() => socket.count('READY=1') === 1);
    await sleep(2 * WATCHDOG_MS);
    expect(socket.received.map(({ state }) => state)).toEqual(['READY=1']);
  });
});
