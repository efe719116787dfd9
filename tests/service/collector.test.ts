import { runInNewContext } from 'node:vm';
import { afterEach, expect, test, vi } from 'vitest';
import { makeCollector } from '../../src/service/collector.ts';

afterEach(() => vi.unstubAllEnvs());

/** A weak reference holds its target until the present job is over (ECMA-262, WeakRef.prototype.deref; from memory). */
const nextJob = () => new Promise((resolve) => setTimeout(resolve));
const numbers = (count: number) => new Array<number>(count).fill(1.5);
const garbage = (count: number) => new WeakRef(numbers(count));

/** What V8 itself throws away only with a whole collection, as it has outlived one. */
async function oldGarbage(count: number, collect: () => void): Promise<WeakRef<number[]>> {
  const held = [numbers(count)];
  const found = new WeakRef(held[0]!);
  await nextJob();
  collect();
  held.pop();
  await nextJob();
  return found;
}

test('garbage is collected where it has become much, and not for little', async () => {
  const collect = makeCollector();
  const much = garbage(1e6);
  // 8 bytes each: less than 3 MB.
  const little = await oldGarbage(1e5, collect);
  expect(much.deref()).toBeUndefined();
  collect();
  expect(little.deref()).toHaveLength(1e5);
  const more = garbage(1e6);
  await nextJob();
  collect();
  expect([little.deref(), more.deref()]).toEqual([undefined, undefined]);
});

test('while caches are made, nothing that was compiled may be thrown away', async () => {
  const much = await oldGarbage(1e6, makeCollector());
  vi.stubEnv('SINEW_MAKE_CACHE', '/tmp/done');
  makeCollector()();
  expect(much.deref()).toHaveLength(1e6);
});

test('nobody else is offered it afterwards', () => {
  makeCollector()();
  expect(globalThis.gc).toBeUndefined();
  expect(runInNewContext('typeof gc')).toBe('undefined');
});
