import { describe, expect, test } from 'vitest';
import { moveTimeS, type TryParts, TryRun } from '../../src/gateway/page/try-out.ts';
import { planMove } from '../../src/sums/profile.ts';
import fc from '../fast-check.ts';

/** A daemon that answers when it is told to. */
function rig() {
  const moves: { to: number; overS: number; arrive: () => void; refuse: (why: string) => void }[] =
    [];
  const said: [boolean, string][] = [];
  const timers: (() => void)[] = [];
  let halts = 0;
  const parts: TryParts = {
    move: (to, overS) =>
      new Promise((resolve, reject) => {
        moves.push({
          to,
          overS,
          arrive: () => resolve({}),
          refuse: (why) => reject(new Error(why)),
        });
      }),
    halt: async () => {
      halts++;
    },
    changed: (running, why) => said.push([running, why]),
    after: (_ms, work) => {
      timers.push(work);
      return () => timers.splice(timers.indexOf(work), 1);
    },
  };
  return { run: new TryRun(parts), moves, said, timers, halts: () => halts };
}
const turn = () => new Promise((resolve) => setImmediate(resolve));
const VALUES = { speedDegS: 20, accelDegS2: 100 };

describe('the try-out', () => {
  test('goes back and forth while it is held, one move at a time, and stops when let go', async () => {
    const { run, moves, said, halts } = rig();
    run.press([0, 30], 30, VALUES);
    expect(moves.map(({ to }) => to)).toEqual([0]);
    expect(moves[0]!.overS).toBeCloseTo(30 / 20 + 20 / 100, 12);
    await turn();
    expect(moves).toHaveLength(1);
    moves[0]!.arrive();
    await turn();
    expect(moves.map(({ to }) => to)).toEqual([0, 30]);
    run.stop();
    expect(halts()).toBe(1);
    moves[1]!.arrive();
    await turn();
    expect(moves).toHaveLength(2);
    run.stop();
    expect(halts()).toBe(1);
    expect(said).toEqual([
      [true, ''],
      [false, ''],
    ]);
  });

  test('an answer that comes after the next press starts nothing', async () => {
    const { run, moves } = rig();
    run.press([0, 30], 0, VALUES);
    run.stop();
    run.press([0, 30], 0, VALUES);
    moves[0]!.arrive();
    await turn();
    expect(moves.map(({ to }) => to)).toEqual([30, 30]);
  });

  test('between two places at almost the same angle it still makes one move at a time', async () => {
    const { run, moves } = rig();
    run.press([10, 10 + 1e-9], 10, VALUES);
    await turn();
    expect(moves.map(({ to }) => to)).toEqual([10 + 1e-9]);
    moves[0]!.arrive();
    await turn();
    expect(moves.map(({ to }) => to)).toEqual([10 + 1e-9, 10]);
  });

  test('a second press while it runs does nothing; a refusal or a late answer ends it with the reason', async () => {
    const one = rig();
    one.run.press([0, 30], 0, VALUES);
    one.run.press([0, 30], 0, VALUES);
    expect(one.moves).toHaveLength(1);
    one.moves[0]!.refuse('beak needs tail_1');
    await turn();
    expect(one.said.at(-1)).toEqual([false, 'beak needs tail_1']);
    expect(one.halts()).toBe(1);
    const late = rig();
    late.run.press([0, 30], 0, VALUES);
    late.timers[0]!();
    expect(late.said.at(-1)![1]).toMatch(/link hesitated/);
    late.moves[0]!.arrive();
    await turn();
    expect(late.moves).toHaveLength(1);
  });
});

test('the time is that of the core’s own profile', () => {
  const some = (max: number) => fc.double({ min: 1, max, noNaN: true });
  fc.assert(
    fc.property(some(180), some(400), some(2000), some(20_000), (deg, speed, accel, jerk) => {
      const from = { pos: 0, vel: 0, acc: 0 };
      const tried = { speedDegS: speed, accelDegS2: accel };
      const trapezoid = planMove(from, deg, { speed, accel }).durationS;
      expect(moveTimeS(deg, tried)).toBeCloseTo(trapezoid, 9);
      expect(moveTimeS(-deg, tried)).toBe(moveTimeS(deg, tried));
      // Where it reaches both speed and acceleration, a / j more is exact.
      if ((accel * accel) / jerk > speed || deg < speed * (speed / accel + accel / jerk)) return;
      const doubleS = planMove(from, deg, { speed, accel, jerk }).durationS;
      expect(moveTimeS(deg, { ...tried, jerkDegS3: jerk })).toBeCloseTo(doubleS, 6);
    }),
  );
});
