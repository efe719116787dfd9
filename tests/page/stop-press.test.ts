import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { StopPress } from '../../src/gateway/page/stop-press.ts';

let stops = 0;
let press: StopPress;
beforeEach(() => {
  vi.useFakeTimers();
  stops = 0;
  press = new StopPress(() => {
    stops++;
  });
});
afterEach(() => vi.useRealTimers());

const key = (name: string, repeat = false) => press.keyDown({ key: name, repeat });

describe('a press is one stop', () => {
  test('of a pointer, with the click at its end, however long it is held', () => {
    press.pointerDown();
    expect(stops).toBe(1);
    vi.advanceTimersByTime(10_000);
    press.released();
    press.click();
    expect(stops).toBe(1);
  });

  test('of a key that is held, with all its clicks', () => {
    key('Enter');
    for (let i = 0; i < 5; i++) {
      key('Enter', true);
      press.click();
    }
    press.released();
    expect(stops).toBe(1);
  });

  test('and the next one is another', () => {
    for (let i = 0; i < 3; i++) {
      press.pointerDown();
      press.released();
      press.click();
    }
    expect(stops).toBe(3);
  });
});

test('a click without a press stops: a screen reader sends nothing else', () => {
  press.click();
  press.click();
  expect(stops).toBe(2);
});

test('a finger that slid off brings no click, and swallows none that comes later', () => {
  press.pointerDown();
  press.released();
  vi.advanceTimersByTime(2000);
  press.click();
  expect(stops).toBe(2);
});

test('other keys are none of its business', () => {
  key('Tab');
  expect(stops).toBe(0);
});
