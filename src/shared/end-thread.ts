import type { Worker } from 'node:worker_threads';

/**
 * Asks a thread to end, and ends it from outside where it has not done so after `graceMs`. Not at once:
 * Node aborts the whole process where a thread is ended just as it opens a file (`CHECK_EQ(argc, 5)` of
 * node_file.cc).
 */
export async function endThread(worker: Worker, ask: () => void, graceMs = 1000): Promise<void> {
  const ended = new Promise<void>((resolve) => worker.once('exit', () => resolve()));
  ask();
  const giveUp = setTimeout(() => void worker.terminate(), graceMs);
  await ended;
  clearTimeout(giveUp);
}
