import { expect, test } from 'vitest';
import { HeldKeys } from '../../src/gateway/page/held-keys.ts';

/** Servos that keys lead; what is 0 holds. */
function rig() {
  const now: Record<string, number> = {};
  const keys = new HeldKeys({
    lead: (channel, way) => {
      now[channel] = way;
    },
    letGo: (channel) => {
      now[channel] = 0;
    },
    isLed: (channel) => (now[channel] ?? 0) !== 0,
  });
  return { now, keys };
}
const low = { channels: ['beak'], way: -1 } as const;
const high = { channels: ['beak'], way: 1 } as const;

test('a key leads while it is held', () => {
  const { now, keys } = rig();
  keys.press('KeyA', low);
  keys.press('KeyA', low);
  expect(now).toEqual({ beak: -1 });
  keys.release('KeyA');
  expect(now).toEqual({ beak: 0 });
});

test('both keys of a pair hold the servo; the one that stays down leads again', () => {
  const { now, keys } = rig();
  keys.press('KeyD', high);
  keys.press('KeyA', low);
  expect(now).toEqual({ beak: 0 });
  keys.release('KeyD');
  expect(now).toEqual({ beak: -1 });
  keys.release('KeyA');
  expect(now).toEqual({ beak: 0 });
});

test('two keys the same way lead until the last of them is released', () => {
  const { now, keys } = rig();
  keys.press('ArrowUp', high);
  keys.press('ArrowRight', high);
  keys.release('ArrowUp');
  expect(now).toEqual({ beak: 1 });
  keys.release('ArrowRight');
  expect(now).toEqual({ beak: 0 });
});

test('what something else has ended stays ended while keys are released', () => {
  const { now, keys } = rig();
  keys.press('ArrowUp', high);
  keys.press('ArrowRight', high);
  // A link that hesitates.
  now.beak = 0;
  keys.release('ArrowUp');
  expect(now).toEqual({ beak: 0 });
  keys.press('KeyA', low);
  keys.release('KeyA');
  expect(now).toEqual({ beak: 1 });
});

test('with the focus gone everything is let go, and nothing leads before a key is pressed again', () => {
  const { now, keys } = rig();
  keys.press('KeyD', high);
  keys.press('KeyA', low);
  keys.press('KeyL', { channels: ['head', 'lid'], way: 1 });
  keys.releaseAll();
  expect(now).toEqual({ beak: 0, head: 0, lid: 0 });
  for (const code of ['KeyD', 'KeyA', 'KeyL']) keys.release(code);
  expect(now).toEqual({ beak: 0, head: 0, lid: 0 });
});
