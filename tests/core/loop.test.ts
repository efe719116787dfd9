import { describe, expect, test } from 'vitest';
import { Loop } from '../../src/core/loop.ts';
import { type Clock, VirtualClock } from '../../src/shared/clock.ts';
import { fitTimersMs } from '../../src/shared/fit-timers.ts';

interface Tick {
  ms: number;
  elapsed: number;
}

function start(clock: Clock, body: (tick: Tick) => void = () => {}) {
  const ticks: Tick[] = [];
  const loop = new Loop(clock, 5, (ms, elapsed) => {
    ticks.push({ ms, elapsed });
    body({ ms, elapsed });
  });
  loop.start();
  return { loop, ticks };
}

/** A clock whose timers come late or early, as told, by call. */
class Sloppy extends VirtualClock {
  late: () => number = () => 0;

  override after(delayMs: number, wake: () => void): () => void {
    return super.after(delayMs + this.late(), wake);
  }
}

describe('on time', () => {
  test('every tick is due at start + k x period', () => {
    const clock = new VirtualClock();
    clock.advance(3.25);
    const { ticks } = start(clock);
    clock.advance(50_000);
    expect(ticks).toHaveLength(10_000);
    for (const [k, { ms, elapsed }] of ticks.entries()) {
      expect(Math.abs(ms - (3.25 + 5 * (k + 1)))).toBeLessThan(1e-6);
      expect(elapsed).toBe(1);
    }
  });

  test('lateness of a tick does not add up', () => {
    const clock = new Sloppy();
    let i = 0;
    clock.late = () => [0, 0.4, 1.7, 3.9, 0.02][i++ % 5]!;
    const { ticks } = start(clock);
    clock.advance(60_000);
    expect(ticks.length).toBeGreaterThanOrEqual(11_999);
    for (const [k, { ms }] of ticks.entries()) {
      const lateMs = ms - 5 * (k + 1);
      expect(lateMs).toBeGreaterThanOrEqual(-0.5);
      expect(lateMs).toBeLessThan(4);
    }
  });
});

test('a timer that fires early is asked again: never more than 0.5 ms too soon', () => {
  const clock = new Sloppy();
  let i = 0;
  clock.late = () => [-0.9, -0.3, -2.5, 0.1][i++ % 4]!;
  const { ticks } = start(clock);
  clock.advance(10_000);
  expect(ticks.length).toBeGreaterThanOrEqual(1999);
  for (const [k, { ms }] of ticks.entries()) expect(ms - 5 * (k + 1)).toBeGreaterThanOrEqual(-0.5);
});

describe('late', () => {
  test.each([
    [4.9, 1],
    [5, 2],
    [9.99, 2],
    [10.01, 3],
    [1000, 201],
  ])('by %d ms: one tick that stands for %d', (lateMs, elapsed) => {
    const clock = new Sloppy();
    let first = true;
    clock.late = () => {
      const ms = first ? lateMs : 0;
      first = false;
      return ms;
    };
    const { ticks } = start(clock);
    clock.advance(3000);
    expect(ticks[0]).toEqual({ ms: 5 + lateMs, elapsed });
    // The schedule is kept, and every period is counted once.
    expect(ticks[1]).toEqual({ ms: 5 * (elapsed + 1), elapsed: 1 });
    expect(ticks.reduce((sum, tick) => sum + tick.elapsed, 0)).toBe(600);
  });
});

test('stopped inside a tick, it does not tick again', () => {
  const clock = new VirtualClock();
  const { loop, ticks } = start(clock, () => {
    if (ticks.length === 3) loop.stop();
  });
  clock.advance(1000);
  expect(ticks).toHaveLength(3);
});

describe('a time that timers meet well', () => {
  test('is within a ms of the wish, and a little before the middle of a whole ms of the system', () => {
    const shares: number[] = [];
    for (let i = 0; i < 201; i++) {
      const fromMs = performance.now() + i / 7;
      const fitMs = fitTimersMs(fromMs);
      expect(fitMs).toBeGreaterThanOrEqual(fromMs - 1e-3);
      expect(fitMs).toBeLessThan(fromMs + 1 + 1e-3);
      const aheadMs = Number(process.hrtime.bigint()) / 1e6 - performance.now();
      shares.push((fitMs + aheadMs) % 1);
    }
    // Between two looks at the time something else may have its turn, but not every time.
    const [middle] = shares.toSorted((a, b) => a - b).slice(100);
    expect(middle).toBeCloseTo(0.4, 1);
  });

  test('is when the first tick is due', () => {
    const clock = new VirtualClock();
    const ticks: number[] = [];
    const loop = new Loop(clock, 5, (ms) => ticks.push(ms));
    loop.start(7.4);
    clock.advance(20);
    expect(ticks).toEqual([7.4, 12.4, 17.4]);
  });
});
