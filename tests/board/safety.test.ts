import { spawn } from 'node:child_process';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { excused } from './board.ts';
import { LONG } from './long.ts';
import {
  ACTIVITIES,
  CAPTURE_MS,
  capture,
  parkingBegins,
  relayStaysClosed,
  Stage,
  SUBJECTS,
  stopTakes,
} from './stage.ts';

const TICK_MS = 5;
const TWO_TICKS_MS = 2 * TICK_MS;
const PARKING_MS = 500 + 100;
/** State frames come at 50 Hz: when something was seen may be this much later than when it was (ms). */
const FRAME_MS = 20;
const DISK_MS = 300;
const DISK_CALLS = 6;

/**
 * Measures until it is within `most`, up to three times, and gives the least: the clients share a processor
 * with whatever else this machine does. Each time by a new daemon, which has compiled nothing yet: a fault is
 * there each time.
 */
async function least(stage: Stage, most: number, measure: () => Promise<number>): Promise<number> {
  let best = Number.POSITIVE_INFINITY;
  for (let left = 3; left > 0 && !(best <= most); left--) {
    await stage.fresh();
    best = Math.min(best, await measure());
  }
  return best;
}

describe('a log that nobody reads', () => {
  let stage: Stage;
  let away: () => void;
  let back: () => void;
  afterEach(async () => {
    back();
    await stage.cleanUp();
  });

  const where: [string, () => Promise<void>][] = [
    [
      'behind a pipe',
      async () => {
        stage = await Stage.start(SUBJECTS[0]!, { args: ['--log', 'debug'] });
        const { stderr } = stage.board.daemon.child;
        away = () => stderr!.pause();
        back = () => stderr!.resume();
      },
    ],
    [
      'at a terminal, as after Ctrl-S,',
      async () => {
        // script(1) is the terminal that shows it, until it is halted.
        const args = ['--quiet', '--flush', '--command', 'tty; exec sleep 3600', '/dev/null'];
        const shows = spawn('script', args, { stdio: ['pipe', 'pipe', 'inherit'] });
        const device = await new Promise<string>((resolve) =>
          shows.stdout.once('data', (data) => resolve(String(data).trim())),
        );
        shows.stdout.resume();
        away = () => shows.kill('SIGSTOP');
        back = () => shows.kill('SIGKILL');
        stage = await Stage.start(SUBJECTS[0]!, { args: ['--log', 'debug'], terminal: device });
      },
    ],
  ];
  it.each(where)('%s delays no tick and no stop', async (_name, start) => {
    for (let left = 3; ; left--) {
      await start();
      await stage.ready();
      const { board, holder, watch } = stage;
      const mark = await board.mark();
      away();
      const act = async (): Promise<string> => {
        // Each is a line of some 200 bytes; a pipe and the stream behind it hold 128 KiB.
        for (let n = 0; n < 1200; n++)
          await holder.call('channel.move', {
            channel: n % 2 === 0 ? 'beak' : 'lid_left',
            to: n % 30,
          });
        await watch.ask('stop', { category: 0 });
        return stage.condition();
      };
      const deaf = board.sleep(20_000).then(() => 'the daemon is deaf');
      const condition = await Promise.race([act().catch((lost: Error) => lost.message), deaf]);
      back();
      const seen = await board.since(mark);
      const good = condition === 'stopped' && seen.gapTicks <= 2;
      if (good || left === 1 || !excused(seen)) {
        expect(condition).toBe('stopped');
        expect(seen.gapTicks, JSON.stringify(seen)).toBeLessThanOrEqual(2);
        return;
      }
      await stage.cleanUp();
    }
  });
});

describe.each(LONG ? SUBJECTS : SUBJECTS.slice(0, 1))('on a slow board, with $name,', (subject) => {
  let stage: Stage;
  beforeAll(async () => {
    stage = await Stage.start(subject);
  });
  beforeEach(() => stage.board.setDisk('fast'));
  afterAll(() => stage.cleanUp());

  it('a stop during a capture takes effect within two ticks of what it takes otherwise', async () => {
    const quiet: number[] = [];
    for (let n = 0; n < 5; n++) quiet.push(await stopTakes(stage));
    const usualMs = quiet.toSorted((a, b) => a - b)[2]!;
    const most = usualMs + TWO_TICKS_MS;
    const took: Record<number, number> = {};
    for (const afterMs of LONG ? [0, 10, 20, 40, 80, 150, 250] : [0, 30, 100])
      took[afterMs] = await least(stage, most, () => stopTakes(stage, afterMs));
    const worst = Math.max(...Object.values(took));
    expect(worst, JSON.stringify({ usualMs, took })).toBeLessThanOrEqual(most);
  });

  it('a relay that is to close for 1 s opens after 1 s, also while a capture runs', async () => {
    const most = 1000 + TWO_TICKS_MS + FRAME_MS;
    for (const capturing of [false, true]) {
      let atMostMs = 0;
      const tookMs = await least(stage, most, async () => {
        const seen = await relayStaysClosed(stage, capturing);
        atMostMs = seen.atMostMs;
        return seen.tookMs;
      });
      expect(tookMs).toBeLessThanOrEqual(most);
      expect(atMostMs).toBeGreaterThanOrEqual(1000);
    }
  });

  it('parking begins in time after the holder is killed', async () => {
    const tookMs = await least(stage, PARKING_MS, () => parkingBegins(stage, false));
    expect(tookMs).toBeLessThanOrEqual(PARKING_MS);
    expect(tookMs).toBeGreaterThanOrEqual(0);
  });

  it('parking begins in time after the holder is killed in the middle of a capture', async () => {
    expect(await least(stage, PARKING_MS, () => parkingBegins(stage, true))).toBeLessThanOrEqual(
      PARKING_MS,
    );
  });

  describe('a disk that takes 300 ms for each operation', () => {
    const disk = '300 ms each';
    it('delays no tick of a move', async () => {
      const seen = await stage.during(() => ACTIVITIES.moves!(stage), { disk });
      expect(seen, JSON.stringify(seen)).toMatchObject({ linked: true, conditions: ['live'] });
      expect(seen.gapTicks).toBeLessThanOrEqual(2);
    });

    it('delays no tick of a wake', async () => {
      const seen = await stage.during(() => ACTIVITIES.wake!(stage), { disk });
      expect(seen.linked).toBe(true);
      expect(seen.gapTicks).toBeLessThanOrEqual(2);
    });

    it('delays no tick of a capture, and the capture by at most six operations', async () => {
      const seen = await capture(stage, 'mark', { disk });
      expect(seen, JSON.stringify(seen)).toMatchObject({
        linked: true,
        conditions: ['live'],
        refused: undefined,
      });
      expect(seen.gapTicks).toBeLessThanOrEqual(2);
      expect(seen.tookMs).toBeLessThanOrEqual(CAPTURE_MS + DISK_CALLS * DISK_MS);
      // It did wait for the disk: what is answered is there for good.
      expect(seen.tookMs).toBeGreaterThan(DISK_MS);
    });
  });

  describe('a disk that hangs for 10 s', () => {
    const disk = 'hung';
    it('delays no tick of moves, of jogging and of a stop', async () => {
      let stopped = '';
      const seen = await stage.during(
        async () => {
          await ACTIVITIES.moves!(stage);
          await ACTIVITIES['jogging at 20 a second']!(stage);
          await stage.watch.ask('stop', { category: 0 });
          stopped = await stage.condition();
        },
        { disk },
      );
      expect(seen, JSON.stringify(seen)).toMatchObject({
        linked: true,
        conditions: ['live', 'stopped'],
      });
      expect(stopped).toBe('stopped');
      expect(seen.gapTicks).toBeLessThanOrEqual(2);
    });

    it('keeps a capture waiting, and no tick and no stop with it', async () => {
      let answered = false;
      let stopped = '';
      const seen = await stage.during(
        async () => {
          answered = false;
          const { holder, watch, board } = stage;
          void holder
            .call('mark.capture', { channel: subject.servo, mark: `hung_${stage.captures++}` })
            .then(() => {
              answered = true;
            })
            .catch(() => undefined);
          await board.sleep(2000);
          stopped = await stage.condition();
          if (answered) return;
          await watch.ask('stop', { category: 0 });
          stopped += `, ${await stage.condition()}`;
        },
        { disk },
      );
      expect({ answered, stopped }).toEqual({ answered: false, stopped: 'live, stopped' });
      expect(seen.linked).toBe(true);
      expect(seen.gapTicks).toBeLessThanOrEqual(2);
    });

    it('does not keep the prop from parking when its holder is lost', async () => {
      await stage.ready();
      await stage.moveTo(12);
      stage.board.setDisk(disk);
      const lostMs = stage.board.wallMs();
      stage.holder.socket.terminate();
      await stage.watch.untilState(({ condition }) => condition === 'parked');
      expect((await stage.becameMs('parking')) - lostMs).toBeLessThanOrEqual(PARKING_MS);
    });
  });
});
