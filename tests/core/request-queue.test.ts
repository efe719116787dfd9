import { setImmediate as turn } from 'node:timers/promises';
import { expect, test } from 'vitest';
import { RequestQueue } from '../../src/core/request-queue.ts';

test('one in each turn, the sessions in rotation, each in its order', async () => {
  const turns = new RequestQueue();
  const done: string[] = [];
  for (const name of ['a1', 'a2', 'a3', 'b1', 'b2', 'c1'])
    turns.add(name[0]!, () => done.push(name));
  // Nobody was before it.
  expect(done).toEqual(['a1']);
  for (let i = 2; i <= 6; i++) {
    await turn();
    expect(done).toHaveLength(i);
  }
  expect(done).toEqual(['a1', 'a2', 'b1', 'c1', 'a3', 'b2']);
});

test('a timer that falls due does not wait for what is left', async () => {
  const turns = new RequestQueue();
  let left = 200;
  const busy = () => {
    for (const endMs = performance.now() + 0.5; performance.now() < endMs; );
    left--;
  };
  for (let i = 0; i < 200; i++) turns.add('flood', busy);
  const leftAtTimer = await new Promise<number>((resolve) => setTimeout(() => resolve(left), 5));
  // All of it takes 100 ms.
  expect(leftAtTimer).toBeGreaterThan(100);
  while (left > 0) await turn();
});

test('what is added while work is done has its turn', async () => {
  const turns = new RequestQueue();
  const done: number[] = [];
  turns.add('a', () => {
    turns.add('a', () => done.push(2));
    done.push(1);
  });
  expect(done).toEqual([1]);
  turns.add('a', () => done.push(3));
  for (let i = 0; i < 4; i++) await turn();
  expect(done).toEqual([1, 2, 3]);
});
