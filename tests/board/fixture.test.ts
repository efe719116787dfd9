import { spawnSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { MEMORY_MIB, SLOW } from './board.ts';
import { MemoryGroup } from './memory-group.ts';
import { Stage, SUBJECTS } from './stage.ts';

describe('the slow board itself', () => {
  let stage: Stage;
  beforeAll(async () => {
    stage = await Stage.start(SUBJECTS[0]!);
  });
  afterAll(() => stage.cleanUp());

  /** How long a computation takes by the clock of the program that makes it (ms). */
  function computes(env: NodeJS.ProcessEnv): number {
    const program =
      'const t = performance.now(); let s = 0; for (let i = 0; i < 2e7; i++) s += i % 7; console.log(performance.now() - t)';
    const { stdout } = spawnSync(process.execPath, ['-e', program], { env, encoding: 'utf8' });
    return Number(stdout);
  }

  it('computes four times slower than this machine, in its own time', () => {
    const ratios = Array.from(
      { length: 7 },
      () => computes(stage.board.clientEnv) / computes(process.env),
    );
    const ratio = ratios.toSorted((a, b) => a - b)[3]!;
    expect(ratio).toBeGreaterThan(0.7 * SLOW);
    expect(ratio).toBeLessThan(1.4 * SLOW);
  });

  it('starts node as the service does', () => {
    const { pid } = stage.board.daemon.child;
    const [, ...words] = readFileSync(`/proc/${pid}/cmdline`, 'utf8').split('\0');
    expect(words[0]).toBe('--v8-pool-size=1');
  });

  it('ticks 200 times in a second of its own time', async () => {
    await stage.ready();
    const fromMs = stage.board.nowMs();
    const { ticks } = await stage.during(() => stage.board.sleep(2000), { tries: 1 });
    const passedMs = stage.board.nowMs() - fromMs;
    // The measurement itself takes a while before and after.
    expect(ticks).toBeGreaterThan(390);
    expect(ticks).toBeLessThan(passedMs / 5 + 2);
  });

  it('has the daemon’s time of day', async () => {
    await stage.ready();
    const before = stage.board.wallMs();
    await stage.watch.ask('stop', { category: 0 });
    const after = stage.board.wallMs();
    const stopped = await stage.becameMs('stopped');
    // The journal cuts to whole ms.
    expect(stopped).toBeGreaterThanOrEqual(before - 1);
    expect(stopped).toBeLessThanOrEqual(after);
  });

  it('sees a main thread that is busy for too long, and does not blame it for a halt of the machine', async () => {
    const busy =
      'process.on("SIGUSR2",()=>{const t=performance.now();while(performance.now()-t<100);})';
    const other = await Stage.start(SUBJECTS[0]!, {
      nodeArgs: ['--import', `data:text/javascript,${busy}`],
    });
    try {
      const { board } = other;
      const blocked = async () => {
        const mark = await board.mark();
        board.daemon.child.kill('SIGUSR2');
        await board.sleep(200);
        return board.since(mark);
      };
      // What this machine takes of the turn is not counted as the turn's.
      let seen = await blocked();
      for (let left = 4; left > 0 && seen.awayMs > 0; left--) seen = await blocked();
      expect(seen.gapTicks, JSON.stringify(seen)).toBeGreaterThan(18);
      expect(seen.longestTurnMs).toBeGreaterThanOrEqual(100);

      // All of its threads at once, the referee's too.
      const next = await board.mark();
      board.daemon.child.kill('SIGSTOP');
      await board.sleep(100);
      board.daemon.child.kill('SIGCONT');
      const halted = await board.since(next);
      expect(halted.awayMs, JSON.stringify(halted)).toBeGreaterThan(70);
      expect(halted.gapTicks, JSON.stringify(halted)).toBeLessThan(10);
    } finally {
      await other.cleanUp();
    }
  });

  it('makes the disk slow, hangs it, and lets go when it is fast again', async () => {
    await stage.ready();
    await stage.moveTo(12);
    const { board } = stage;
    board.setDisk('300 ms each');
    const slowMs = board.nowMs();
    await stage.holder.ask('channel.move', { channel: 'beak', to: 20, wait: true });
    await board.sleep(1500);
    const slow = board.diskCalls(slowMs);
    expect(slow.length).toBeGreaterThan(1);
    for (const { ms } of slow) expect(ms).toBeGreaterThanOrEqual(300);
    board.setDisk('hung');
    await board.sleep(1000);
    const hungMs = board.nowMs();
    await stage.holder.ask('channel.move', { channel: 'beak', to: 0, wait: true });
    await board.sleep(1000);
    expect(board.diskCalls(hungMs)).toEqual([]);
    board.setDisk('fast');
    await board.sleep(500);
    const since = board.diskCalls(hungMs - 1500);
    expect(Math.max(...since.map(({ ms }) => ms))).toBeGreaterThan(1000);
  });

  it('notes what the main thread asks of the file system', async () => {
    // Node looks for the program in its main thread, before anything else runs.
    const calls = stage.board.mainThreadFileCalls(0);
    expect(
      calls.some(({ what, path }) => what === 'statx' && path.endsWith('dist/daemon.js')),
    ).toBe(true);
  });
});

describe('its memory', () => {
  /** Takes so many MiB that cannot be given back, in a group with the board's limit. */
  function take(mib: number): { kills: number; status: number | null; peakMiB: number } {
    const group = new MemoryGroup(MEMORY_MIB);
    const program = `const kept = []; for (let i = 0; i < ${mib}; i++) kept.push(Buffer.alloc(2 ** 20, 1));`;
    const join = 'echo $$ > "$0/cgroup.procs"; exec "$@"';
    const { status } = spawnSync('/bin/sh', [
      '-c',
      join,
      group.folder,
      process.execPath,
      '-e',
      program,
    ]);
    const { kills, peakMiB } = group;
    group.remove();
    return { kills, status, peakMiB };
  }

  it('is enough for 60 MiB, and a process that takes 200 is killed', () => {
    expect(take(60)).toMatchObject({ kills: 0, status: 0 });
    const { kills, status, peakMiB } = take(200);
    expect({ kills, status }).toEqual({ kills: 1, status: null });
    expect(peakMiB).toBeLessThanOrEqual(MEMORY_MIB);
  });
});
