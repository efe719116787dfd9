import { spawn, spawnSync } from 'node:child_process';
import { chmod, mkdtemp, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { lifeOf } from '../../src/safe/life.ts';
import { DAEMON, Daemon, Peer } from './daemon.ts';

const SAFE_LEVELS = fileURLToPath(new URL('../../dist/safe-levels.js', import.meta.url));

/** From the start of the process until its end (ms), as whoever waits for it sees it. */
async function safeLevels(args: string[], env: NodeJS.ProcessEnv = {}) {
  const startedMs = performance.now();
  const child = spawn(process.execPath, [SAFE_LEVELS, ...args], {
    env: { ...process.env, ...env },
  });
  let text = '';
  for (const stream of [child.stdout, child.stderr])
    stream.on('data', (data) => {
      text += data;
    });
  const code = await new Promise<number | null>((resolve) => child.once('exit', resolve));
  const tookMs = performance.now() - startedMs;
  if (!child.stdout.readableEnded) await new Promise((resolve) => setTimeout(resolve, 50));
  return { code, text, tookMs };
}

describe('after a daemon', () => {
  let daemon: Daemon;
  let plan: string;
  beforeEach(async () => {
    daemon = await Daemon.start();
    plan = join(daemon.folder, 'state', 'safe-plan.json');
  });
  afterEach(async () => {
    await daemon.cleanUp();
  });
  const log = () => readFile(join(daemon.folder, 'state', 'safe-levels.log'), 'utf8');

  it('killed with its relays on, every relay is safe and every pulse stopped within 1 s', async () => {
    const holder = await Peer.holder(daemon);
    await holder.ask('channel.move', { channel: 'tail_1', to: 'open', wait: true });
    await holder.ask('channel.switch', { channel: 'fan', on: true });
    await daemon.kill('SIGKILL');
    const { code, text, tookMs } = await safeLevels(['--plan', plan]);
    expect(code, text).toBe(0);
    expect(tookMs).toBeLessThanOrEqual(1000);
    const lines = (await log()).trimEnd().split('\n');
    // The owl's relays are active at a low level, so that high is safe.
    expect(lines.filter((line) => /: (mist|fan) .* high$/.test(line))).toHaveLength(2);
    // Ten servos: head_turn, beak, two lids, two wings, four tail feathers.
    expect(lines.filter((line) => line.endsWith('no pulses'))).toHaveLength(10);
    expect(text).toContain('fan');

    const again = await safeLevels(['--plan', plan]);
    expect(again).toMatchObject({ code: 0, text });
  });

  it('nothing is done while it lives, stopped by a signal or not, unless forced', async () => {
    for (const signal of ['SIGCONT', 'SIGSTOP'] as const) {
      daemon.child.kill(signal);
      const { code, text } = await safeLevels(['--plan', plan]);
      expect(code).toBe(1);
      expect(text).toMatch(new RegExp(`process ${daemon.child.pid}.*--force`));
    }
    await expect(log()).rejects.toThrow(/ENOENT/);
    expect((await safeLevels(['--plan', plan, '--force'])).code).toBe(0);
    expect(await log()).toContain('fan');
  });

  it('the plan is of the one that runs now', async () => {
    const first = JSON.parse(await readFile(plan, 'utf8'));
    expect(first.daemon.pid).toBe(daemon.child.pid);
    await daemon.kill('SIGKILL');
    daemon = await Daemon.start({ folder: daemon.folder });
    expect(JSON.parse(await readFile(plan, 'utf8')).daemon.pid).toBe(daemon.child.pid);
    expect((await safeLevels(['--plan', plan])).code).toBe(1);
  });

  it('a second one that cannot listen leaves the plan of the first alone', async () => {
    const before = await readFile(plan, 'utf8');
    const state = join(daemon.folder, 'state');
    const { status } = spawnSync(process.execPath, [
      ...[DAEMON, '--prop', daemon.propFile, '--state-dir', state],
      ...['--listen', `127.0.0.1:${daemon.port}`],
    ]);
    expect(status).toBe(1);
    expect(await readFile(plan, 'utf8')).toBe(before);
  });
});

describe('with the programs of the system', () => {
  let folder: string;
  let plan: string;
  beforeEach(async () => {
    folder = await mkdtemp(join(tmpdir(), 'sinew-safe-'));
    plan = join(folder, 'safe-plan.json');
  });
  afterEach(() => rm(folder, { recursive: true }));

  /** A stand-in for a program: notes how it was called, then does `then`. */
  async function program(name: string, then = ''): Promise<void> {
    const file = join(folder, name);
    await writeFile(file, `#!/bin/sh\necho "${name} $*" >> ${folder}/calls\n${then}\n`);
    await chmod(file, 0o755);
  }
  const ended = { pid: 2 ** 22 + 1, startTicks: 1, bootId: '' };
  const write = (boards: object[], daemon: object = ended) =>
    writeFile(
      plan,
      JSON.stringify({
        version: 1,
        prop: 'Test',
        daemon,
        boards,
      }),
    );
  const run = (args: string[] = []) =>
    safeLevels(args, { RUNTIME_DIRECTORY: folder, PATH: `${folder}:/bin:/usr/bin` });
  const servo = { name: 'jaw', kind: 'pulse', pin: 0, safe: 0 };
  const relay = { name: 'fan', kind: 'level', pin: 23, safe: 1 };

  it('finds the plan in RUNTIME_DIRECTORY and does every board', async () => {
    await program('i2cset');
    await program('pinctrl');
    await write([
      { name: 'a', driver: 'pca9685', bus: 1, address: 64, outputs: [servo] },
      { name: 'b', driver: 'pigpio', outputs: [relay] },
    ]);
    const { code, text } = await run();
    expect(code, text).toBe(0);
    const calls = await readFile(join(folder, 'calls'), 'utf8');
    expect(calls.trimEnd().split('\n').toSorted()).toEqual([
      'i2cset -y 1 0x40 0x00 0x20 b',
      'i2cset -y 1 0x40 0x06 0x00 0x00 0x00 0x10 i',
      'pinctrl set 23 op dh',
    ]);
  });

  it('a bus that hangs costs neither the other boards nor the second', async () => {
    await program('i2cset', 'exec sleep 30');
    await program('pinctrl');
    await write([
      { name: 'a', driver: 'pca9685', bus: 1, address: 64, outputs: [servo] },
      { name: 'b', driver: 'pigpio', outputs: [relay] },
    ]);
    const { code, text, tookMs } = await run();
    expect(code).toBe(1);
    expect(tookMs).toBeLessThanOrEqual(1000);
    expect(text).toMatch(/a \(pca9685\) may NOT be safe: i2cset did not end in time/);
    expect(text).toMatch(/b \(pigpio\): fan \(GPIO 23\) high/);
  });

  it('a program that is missing or fails is told, with its own words', async () => {
    await program('i2cset', 'echo "Error: Write failed" >&2; exit 1');
    await write([
      { name: 'a', driver: 'pca9685', bus: 1, address: 64, outputs: [servo] },
      { name: 'b', driver: 'pigpio', outputs: [relay] },
    ]);
    const { code, text } = await run();
    expect(code).toBe(1);
    expect(text).toContain('a (pca9685) may NOT be safe: i2cset: Error: Write failed');
    expect(text).toContain('b (pigpio) may NOT be safe: raspi-gpio is not installed');
    expect(text).not.toContain('still runs');
  });

  it('what a living daemon may hold is told, with the remedy, where force has failed', async () => {
    await program('pinctrl', 'echo busy >&2; exit 1');
    await write([{ name: 'b', driver: 'pigpio', outputs: [relay] }], lifeOf(process.pid));
    const { code, text } = await run(['--force']);
    expect(code).toBe(1);
    expect(text).toContain('b (pigpio) may NOT be safe: pinctrl: busy');
    expect(text).toMatch(new RegExp(`process ${process.pid}.*still runs.*kill -9 ${process.pid}`));
  });

  it.each([
    ['no plan', undefined, /there is none/],
    ['half a plan', '{"version":1,"pro', /JSON/],
    ['another file', '[]', /is not a plan/],
  ])('%s is refused', async (_, text, message) => {
    if (text !== undefined) await writeFile(plan, text);
    const result = await run();
    expect(result.code).toBe(1);
    expect(result.text).toMatch(message);
  });

  it('wrong usage is 2, help is 0', async () => {
    for (const args of [['--plan'], ['--fast'], ['x']])
      expect((await safeLevels(args)).code, args.join(' ')).toBe(2);
    expect((await safeLevels(['--help'])).text).toContain('--force');
  });
});
