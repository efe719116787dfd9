import { Worker } from 'node:worker_threads';
import { expect, it } from 'vitest';
import { endThread } from '../../src/shared/end-thread.ts';

const thread = (code: string) =>
  new Worker(`const { parentPort } = require('node:worker_threads'); ${code}`, { eval: true });
const exitCode = (worker: Worker) =>
  new Promise<number>((resolve) => worker.once('exit', (code) => resolve(code)));

it('lets a thread end by itself', async () => {
  const worker = thread('parentPort.once("message", () => process.exit(7))');
  const code = exitCode(worker);
  await endThread(worker, () => worker.postMessage('close'), 60_000);
  expect(await code).toBe(7);
});

it('ends a thread that hangs', async () => {
  const worker = thread('parentPort.postMessage("up"); for (;;);');
  const code = exitCode(worker);
  await new Promise((resolve) => worker.once('message', resolve));
  await endThread(worker, () => worker.postMessage('close'), 20);
  // What `terminate` gives: Node's documentation of worker_threads.
  expect(await code).toBe(1);
});
