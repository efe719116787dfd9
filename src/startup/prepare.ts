import { once } from 'node:events';
import { Worker } from 'node:worker_threads';
import type { Prepared, PrepareStart } from '../service/protocol.ts';
import type { Options } from './options.ts';

/**
 * Reads and checks the prop file and keeps what was worked out from it, so that the first start with this
 * file is as quick as later ones. No board is touched, and a daemon that runs goes on as it was.
 * @returns the exit code: 1 where the file has an error
 */
export async function prepare({ prop, stateDir }: Options): Promise<number> {
  const workerData: PrepareStart = { prepare: true, file: prop, stateDir };
  const worker = new Worker(new URL('./service.js', import.meta.url), { workerData });
  const [{ text, ready }] = (await once(worker, 'message')) as [Prepared];
  await worker.terminate();
  (ready ? process.stdout : process.stderr).write(`${text}\n`);
  return ready ? 0 : 1;
}
