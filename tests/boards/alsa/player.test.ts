import { type ChildProcess, execFileSync, spawn } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { fileURLToPath } from 'node:url';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { toClip } from '../../../src/boards/alsa/mix.ts';
import { Player } from '../../../src/boards/alsa/player.ts';
import { monotonicMs } from '../../../src/boards/alsa/sound-work.ts';
import { AlsaFolder, stretches } from '../../alsa.ts';

const tone = (seconds: number, hz = 1000) =>
  toClip([
    Float32Array.from({ length: seconds * 48_000 }, (_, i) =>
      Math.sin((2 * Math.PI * hz * (i + 12)) / 48_000),
    ),
  ]);

/** Processes that this process, or the one with this id, has started. */
const children = (parent = process.pid): { pid: number; name: string }[] =>
  execFileSync('ps', ['-eo', 'pid=,ppid=,stat=,comm='], { encoding: 'utf8' })
    .split('\n')
    .map((line) => line.trim().split(/\s+/))
    .filter(([, ppid, stat]) => Number(ppid) === parent && !stat!.startsWith('Z'))
    .map(([pid, , , name]) => ({ pid: Number(pid), name: name! }));
const players = (parent = process.pid): number[] =>
  children(parent).flatMap(({ pid, name }) => (name === 'aplay' ? [pid] : []));

async function until(what: () => boolean, withinMs = 5000): Promise<number> {
  const startMs = monotonicMs();
  while (!what()) {
    if (monotonicMs() - startMs > withinMs) throw new Error('it did not happen in time');
    await wait(5);
  }
  return monotonicMs() - startMs;
}

let alsa: AlsaFolder;
let player: Player;
let news: string[];
const gains = new Float64Array(2);

beforeEach(() => {
  alsa = new AlsaFolder();
  news = [];
  gains.fill(1);
});
afterEach(() => {
  player.close();
  alsa.remove();
});

function open(device = 'tofile', env = alsa.env): number {
  player = new Player(device, gains, { nowMs: monotonicMs, news: (text) => news.push(text), env });
  const startMs = monotonicMs();
  player.open();
  return startMs;
}

describe('a stream without gaps', () => {
  test('sounds start within 10 ms of their times, in what the device was given', async () => {
    const openedMs = open();
    await wait(300);
    const beganMs = player.state.beganMs!;
    // The player's process is being made.
    expect(beganMs - openedMs).toBeLessThan(300);
    const baseMs = monotonicMs();
    player.play(0, 'one', tone(0.2), baseMs + 200);
    await wait(450);
    player.play(0, 'two', tone(0.2), baseMs + 700);
    player.play(1, 'three', tone(0.1), baseMs + 1100);
    await wait(1100);
    const found = stretches(alsa.heard());
    expect(found).toHaveLength(3);
    for (const [i, atMs] of [200, 700, 1100].entries())
      expect(Math.abs(found[i]!.fromMs - (baseMs + atMs - beganMs))).toBeLessThan(10);
    expect(Math.abs(found[0]!.toMs - found[0]!.fromMs - 200)).toBeLessThan(1);
    expect(news).toEqual([]);
    expect(player.state).toMatchObject({ plays: true, position: 'written' });
  });

  test('what is asked for too late starts as soon as it can, and is reported', async () => {
    open();
    await wait(300);
    const beganMs = player.state.beganMs!;
    const atMs = monotonicMs();
    player.play(0, 'hoot', tone(0.1), atMs);
    await wait(400);
    const [first] = stretches(alsa.heard());
    const lateMs = first!.fromMs - (atMs - beganMs);
    expect(lateMs).toBeGreaterThan(50);
    expect(lateMs).toBeLessThan(160);
    expect(news[0]).toMatch(/^hoot starts \d+ ms late: it was asked for too late$/);
  });

  test('a gain is reached evenly, and never passed', async () => {
    gains[0] = 0.25;
    open();
    await wait(200);
    player.play(0, 'hoot', tone(0.6), monotonicMs() + 150);
    await wait(350);
    gains[0] = 0;
    await wait(400);
    const heard = alsa.heard();
    expect(Math.max(...heard)).toBeGreaterThan(0.24);
    expect(Math.max(...heard)).toBeLessThan(0.2501);
    let step = 0;
    for (let i = 1; i < heard.length; i++)
      step = Math.max(step, Math.abs(heard[i]! - heard[i - 1]!));
    // A tone of 1 kHz changes by 2 pi / 48 of its amplitude from sample to sample; it starts near 1.
    const [{ toMs, fromMs }] = stretches(heard) as [{ toMs: number; fromMs: number }];
    expect(toMs - fromMs).toBeLessThan(500);
    expect(step).toBeLessThan(0.27);
  });
});

describe('silence', () => {
  test('a stop ends the player with what is in its buffer, and another is ready at once', async () => {
    open();
    await until(() => players().length === 1);
    const [pid] = players();
    await wait(200);
    player.play(0, 'hoot', tone(1), monotonicMs() + 130);
    await wait(350);
    player.silence(0);
    expect(await until(() => !existsSync(`/proc/${pid}`) || isZombie(pid!), 1000)).toBeLessThan(
      200,
    );
    await until(() => players().length === 1);
    await wait(400);
    expect(stretches(alsa.heard())).toEqual([]);
  });

  test('the fade of one channel that has ended leaves the sound of another as it is', async () => {
    open();
    await until(() => players().length === 1);
    const before = players();
    await wait(200);
    const atMs = monotonicMs() + 150;
    player.play(0, 'one', tone(1.2), atMs);
    player.play(1, 'two', tone(1.2), atMs);
    await wait(400);
    gains[1] = 0;
    // As long as the core waits: the fade has been heard by then.
    await wait(250);
    player.silence(1);
    await wait(900);
    expect(players()).toEqual(before);
    const [only, ...more] = stretches(alsa.heard());
    expect(more).toEqual([]);
    expect(only!.toMs - only!.fromMs).toBeGreaterThan(1199);
    expect(news).toEqual([]);
  });

  test('another sound on a channel takes its place without a gap for the other channel', async () => {
    gains[0] = 0.2;
    open();
    await wait(300);
    const atMs = monotonicMs() + 150;
    player.play(0, 'one', tone(1), atMs);
    player.play(1, 'two', tone(0.3), atMs);
    await wait(300);
    player.play(1, 'three', tone(0.3), monotonicMs() + 200);
    await wait(900);
    const heard = alsa.heard();
    expect(stretches(heard)).toHaveLength(1);
    // The two of channel 1 are louder than the other alone, with a pause between them.
    expect(stretches(heard, 0.6)).toHaveLength(2);
  });

  test('a player that takes no data is silenced all the same, and the next sound is heard', async () => {
    // It takes what it gets for a moment, and then nothing, as where the device hangs.
    const folder = join(alsa.folder, 'bin');
    mkdirSync(folder);
    const own = join(folder, 'aplay');
    const swap = (text: string) => {
      writeFileSync(`${own}.new`, `#!/bin/sh\n${text}\n`, { mode: 0o755 });
      renameSync(`${own}.new`, own);
    };
    swap('head -c 20000 >/dev/null; exec sleep 60');
    open('tofile', { ...alsa.env, PATH: `${folder}:${alsa.env.PATH}` });
    const stalled = () => children().filter(({ name }) => name === 'sleep');
    player.play(0, 'hoot', tone(0.2), monotonicMs() + 150);
    await until(() => stalled().length === 1);
    const { pid } = stalled()[0]!;
    // Its time is over, but it is still in front of the device.
    await wait(600);
    swap('exec /usr/bin/aplay "$@"');
    player.silence(0);
    expect(await until(() => isZombie(pid), 1000)).toBeLessThan(200);
    await until(() => players().length === 1);
    await wait(300);
    player.play(0, 'again', tone(0.1), monotonicMs() + 150);
    await wait(400);
    expect(stretches(alsa.heard())).toHaveLength(1);
  });

  test('what has not started is taken back without a word', async () => {
    open();
    await until(() => players().length === 1);
    const before = players();
    await wait(200);
    player.play(0, 'hoot', tone(1), monotonicMs() + 500);
    await wait(100);
    player.silence(0);
    await wait(700);
    expect(players()).toEqual(before);
    expect(stretches(alsa.heard())).toEqual([]);
  });

  test('a process that is killed takes its player with it, within a second', async () => {
    const script = fileURLToPath(new URL('alone.ts', import.meta.url));
    const alone: ChildProcess = spawn(process.execPath, ['--import', 'tsx', script], {
      env: alsa.env,
      stdio: 'ignore',
    });
    try {
      await until(() => players(alone.pid).length === 1, 20_000);
      const [pid] = players(alone.pid);
      await wait(500);
      alone.kill('SIGKILL');
      expect(await until(() => !existsSync(`/proc/${pid}`) || isZombie(pid!), 5000)).toBeLessThan(
        1000,
      );
    } finally {
      alone.kill('SIGKILL');
      open();
    }
  });
});

describe('without a device', () => {
  test('it says so once, with what to do, and goes on trying', async () => {
    open('nosuch');
    player.play(0, 'hoot', tone(0.1), monotonicMs());
    await until(() => news.length > 0);
    await wait(1500);
    expect(news).toHaveLength(1);
    expect(news[0]).toMatch(
      /^sound device nosuch does not play: .*Unknown PCM nosuch.*aplay -L lists them. The prop is silent; everything else goes on$/,
    );
  });

  test('without aplay it names the package', async () => {
    open('tofile', { ...alsa.env, PATH: alsa.folder });
    await until(() => news.length > 0);
    expect(news[0]).toBe(
      'aplay is not installed; sudo apt install alsa-utils. The prop is silent; everything else goes on',
    );
  });
});

function isZombie(pid: number): boolean {
  try {
    return /\) Z /.test(readFileSync(`/proc/${pid}/stat`, 'utf8'));
  } catch {
    return true;
  }
}
