import { Worker } from 'node:worker_threads';

/** What the gateway makes is soon garbage: a small heap for it, often collected (MB). */
const YOUNG_MB = 3;
/** The heap for the rest (MB): past this the thread ends and starts again, before it takes the whole machine's. */
const OLD_MB = 256;

/**
 * A thread that has begun to load what the gateway is made of, and waits to be told its start. Until
 * then it does not keep the program running.
 */
export function loadGateway(): Worker {
  const worker = new Worker(new URL('./worker.js', import.meta.url), {
    name: 'gateway',
    // Read by GatewayHost: piped by Node, they would wait for a terminal in the main thread.
    stdout: true,
    stderr: true,
    resourceLimits: { maxYoungGenerationSizeMb: YOUNG_MB, maxOldGenerationSizeMb: OLD_MB },
  });
  worker.unref();
  return worker;
}
