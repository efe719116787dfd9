import { once } from 'node:events';
import { getPriority } from 'node:os';
import { fileURLToPath } from 'node:url';
import { Worker } from 'node:worker_threads';
import { expect, it } from 'vitest';
import { NICENESS } from '../../src/shared/niceness.ts';

it('a thread that stands back leaves the others where they are', async () => {
  const before = getPriority();
  const module = fileURLToPath(new URL('../../src/shared/niceness.ts', import.meta.url));
  const worker = new Worker(
    `const { parentPort } = require('node:worker_threads');
    require('tsx/cjs/api').register();
    require(${JSON.stringify(module)}).standBack(${before + 3});
    parentPort.postMessage(require('node:os').getPriority(0));`,
    { eval: true },
  );
  const [niceness] = await once(worker, 'message');
  await worker.terminate();
  // setpriority(2): 0 stands for the calling thread on Linux, as threads have a niceness of their own there.
  expect(niceness).toBe(Math.min(19, before + 3));
  expect(getPriority()).toBe(before);
});

it('nothing goes before the core, and what takes longest stands back most', () => {
  const { gateway, show, opening, service, planner } = NICENESS;
  expect(Math.min(gateway, show, opening)).toBeGreaterThan(0);
  expect(service).toBeGreaterThan(gateway);
  expect(planner).toBeGreaterThan(service);
  expect(planner).toBeLessThanOrEqual(19);
});
