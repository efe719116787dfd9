import { expect, test } from 'vitest';
import { KEEP_EVERY_MS, KeepLater } from '../../src/gateway/page/keep-later.ts';
import { VirtualClock } from '../../src/shared/clock.ts';

function rig() {
  const clock = new VirtualClock();
  const written: string[] = [];
  return { clock, written, keeper: new KeepLater(clock, (name) => written.push(name)) };
}

test('a drag is written a few times a second, and once more when it is over', () => {
  const { clock, written, keeper } = rig();
  for (let ms = 0; ms < 1000; ms += 8) {
    keeper.soon('wink');
    clock.advance(8);
  }
  expect(written.length).toBeLessThanOrEqual(Math.ceil(1000 / KEEP_EVERY_MS));
  const during = written.length;
  clock.advance(KEEP_EVERY_MS);
  expect(written).toHaveLength(during + 1);
  clock.advance(60_000);
  expect(written).toHaveLength(during + 1);
});

test('each name is written once', () => {
  const { clock, written, keeper } = rig();
  for (const name of ['wink', 'hoot', 'wink']) keeper.soon(name);
  clock.advance(KEEP_EVERY_MS);
  expect(written).toEqual(['wink', 'hoot']);
});

test('a page that goes away writes at once what is due, and nothing twice', () => {
  const { clock, written, keeper } = rig();
  keeper.now();
  keeper.soon('wink');
  keeper.now();
  clock.advance(60_000);
  expect(written).toEqual(['wink']);
});
