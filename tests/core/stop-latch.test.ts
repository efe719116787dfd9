import { expect, it } from 'vitest';
import { StopLatch } from '../../src/core/stop-latch.ts';

/** What the categories do: IEC 60204-1, 9.2.2 (from memory). */

const TIMES = { deadlineS: 1, holdS: 60 };

it('category 0 drops the power at once and cuts the outputs until the reset', () => {
  const latch = new StopLatch();
  latch.latch(0);
  expect(latch.begin(false, true, 5, TIMES)).toBe(true);
  expect(latch.cut).toBe(true);
  latch.dropped();
  latch.reset();
  expect(latch.cut).toBe(false);
});

it('category 1 drops it once all is still, at the latest at its deadline', () => {
  const latch = new StopLatch();
  latch.latch(1);
  expect(latch.begin(false, true, 5, TIMES)).toBe(false);
  expect(latch.dropsWhenStill).toBe(true);
  expect(latch.dropByS).toBe(6);
  // Asked for again it gets no more time.
  latch.latch(1);
  latch.begin(false, true, 5.5, TIMES);
  expect(latch.dropByS).toBe(6);
  latch.dropped();
  expect(latch.dropsWhenStill).toBe(false);
});

it('category 2 holds for a limited time, and no longer for being asked for again', () => {
  const latch = new StopLatch();
  latch.latch(2);
  expect(latch.begin(true, true, 5, TIMES)).toBe(false);
  expect(latch.holdUntilS).toBe(65);
  latch.latch(2);
  latch.begin(true, true, 30, TIMES);
  expect(latch.holdUntilS).toBe(65);
  latch.endHold();
  expect(latch.holdUntilS).toBe(Number.POSITIVE_INFINITY);
});

it('a latched stop is never weakened, and a new one after the reset counts as it is', () => {
  const latch = new StopLatch();
  latch.latch(0);
  latch.latch(2);
  expect(latch.begin(false, true, 5, TIMES)).toBe(true);
  latch.reset();
  latch.latch(2);
  expect(latch.begin(false, true, 9, TIMES)).toBe(false);
});
