import { expect, test } from 'vitest';
import { scaleOf } from '../bench/show.ts';

test('a stop reaches ten props by way of a real broker, each stop all of them, and all answer', async () => {
  const { props, stopMs, messagesPerS, propCores } = await scaleOf(10, 12, 3);
  expect(props).toBe(10);
  // On a busy machine it may take longer than the 250 ms of the README; never this long.
  expect(stopMs).toBeLessThan(2000);
  // At rest: questions for the time, and now and then a status.
  expect(messagesPerS).toBeLessThan(100);
  expect(propCores).toBeLessThan(1);
});
