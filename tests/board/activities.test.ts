import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { LONG } from './long.ts';
import {
  ACTIVITIES,
  CAPTURE_MS,
  CAPTURES,
  capture,
  type During,
  Stage,
  SUBJECTS,
} from './stage.ts';

/** Targets on the slow board, in its own time. */
const GAP_TICKS = 2;
const START_MS = 1500;
/** A file made, written and fsynced, the old one kept beside it, the new one in its place, the folder fsynced. */
const DISK_CALLS = 6;

function kept({ gapTicks, conditions, linked, ...rest }: During, ends = 'live'): void {
  const smooth = gapTicks <= GAP_TICKS;
  const seen = { gapTicks, conditions, linked, smooth, ...rest };
  expect(seen, JSON.stringify(seen)).toMatchObject({
    smooth: true,
    linked: true,
    conditions: ends === 'live' ? ['live'] : expect.arrayContaining(['live']),
  });
}

describe.each(SUBJECTS)('a slow board with $name', (subject) => {
  let stage: Stage;
  beforeAll(async () => {
    stage = await Stage.start(subject);
  });
  afterAll(() => stage.cleanUp());

  it(`takes requests within ${START_MS} ms of its start`, async () => {
    const tookMs: number[] = [];
    // The first start ever also reads and checks the file. A single one may share the machine with somebody
    // else: the best of five counts.
    do {
      await stage.formKept();
      await stage.fresh();
      tookMs.push(stage.board.startMs);
    } while (Math.min(...tookMs) > START_MS && tookMs.length < 5);
    expect(Math.min(...tookMs)).toBeLessThanOrEqual(START_MS);
  });

  it(`takes requests within ${START_MS} ms of its first start, where its file was prepared`, async () => {
    const tookMs: number[] = [];
    // A board has one daemon: another one beside it takes part of its processor.
    await stage.leftParked();
    await stage.board.daemon.kill();
    do {
      const first = await Stage.start(subject, { prepared: true });
      tookMs.push(first.board.startMs);
      await first.cleanUp();
    } while (Math.min(...tookMs) > START_MS && tookMs.length < 5);
    await stage.fresh();
    expect(Math.min(...tookMs)).toBeLessThanOrEqual(START_MS);
  });

  it.each(Object.keys(ACTIVITIES))('loses no tick, and no link, during %s', async (name) => {
    // Each is done for the first time, and so compiled on the way.
    await stage.settled();
    kept(await stage.during(() => ACTIVITIES[name]!(stage)), name === 'wake' ? 'wakes' : 'live');
  });

  it('asks nothing of the file system in its main thread, once it has started', async () => {
    await stage.ready();
    await stage.moveTo(12);
    await stage.parked();
    const calls = stage.board.mainThreadFileCalls(stage.board.startedAtMs);
    expect(calls.map(({ what, path }) => `${what} ${path}`)).toEqual([]);
  });

  // The first after a start is the slowest, as nothing has been compiled yet.
  it.each(Object.keys(CAPTURES))(
    'captures (%s) without losing a tick, the link or more than 300 ms',
    async (kind) => {
      const cold = LONG || kind === 'mark' || kind === 'park position';
      const { tookMs, refused, disk, ...during } = await capture(stage, kind, {
        cold,
        most: CAPTURE_MS,
      });
      expect(refused, JSON.stringify(during)).toBeUndefined();
      kept(during);
      expect(tookMs).toBeLessThanOrEqual(CAPTURE_MS);
      expect(disk.length, disk.join(', ')).toBeLessThanOrEqual(DISK_CALLS);
      // Something was written: otherwise this has measured nothing.
      expect(disk).toContain('fsync');
      const calls = stage.board.mainThreadFileCalls(stage.board.startedAtMs);
      expect(calls.map(({ what, path }) => `${what} ${path}`)).toEqual([]);
    },
  );

  it('stays within its memory', () => {
    expect(stage.board.memory.kills).toBe(0);
    expect(stage.board.memory.peakMiB).toBeGreaterThan(20);
  });
});
