import { afterEach, expect, test, vi } from 'vitest';
import { makeCollector } from '../../src/service/collector.ts';

afterEach(() => vi.unstubAllEnvs());

/** A weak reference holds its target until the present job is over (ECMA-262, WeakRef.prototype.deref). */
const nextJob = () => new Promise((resolve) => setTimeout(resolve));
const garbage = (numbers: number) => new WeakRef(new Array(numbers).fill(1.5));

test('garbage is collected where it has become much, and not for little', async () => {
  const collect = makeCollector();
  const much = garbage(1e6);
  await nextJob();
  collect();
  expect(much.deref()).toBeUndefined();
  // 8 bytes each: less than 3 MB.
  const little = garbage(1e5);
  await nextJob();
  collect();
  expect(little.deref()).toHaveLength(1e5);
  const more = garbage(1e6);
  await nextJob();
  collect();
  expect([little.deref(), more.deref()]).toEqual([undefined, undefined]);
});

test('while caches are made, nothing that was compiled may be thrown away', async () => {
  vi.stubEnv('SINEW_MAKE_CACHE', '/tmp/done');
  const collect = makeCollector();
  const much = garbage(1e6);
  await nextJob();
  collect();
  expect(much.deref()).toHaveLength(1e6);
});

test('nobody else is offered it afterwards', () => {
  makeCollector()();
  expect(globalThis.gc).toBeUndefined();
});
