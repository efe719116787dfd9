import { Worker } from 'node:worker_threads';
import { watchForHang } from './hang-watch.ts';

/** Threads that speak with the network: what they get there must not take the machine, nor stop unseen. */

/** What comes from the network is soon garbage; past this the thread ends, before it takes the machine's (MB). */
const LIMITS = { maxYoungGenerationSizeMb: 4, maxOldGenerationSizeMb: 64 };
const BEAT_MS = 100;
/** A thread that shows no beat for this long hangs (ms); it is looked at so often (ms). */
const HUNG_MS = 5000;
const LOOK_EVERY_MS = 500;

/** Starts such a thread. What it writes is dropped. */
export function spawnForNetwork(file: URL, name: string, workerData: unknown): Worker {
  const worker = new Worker(file, {
    ...{ name, workerData, resourceLimits: LIMITS },
    // Never piped: a terminal that is held must not hold this thread.
    stdout: true,
    stderr: true,
  });
  worker.stdout.resume();
  worker.stderr.resume();
  return worker;
}

/** In the thread: shows that it lives. @param beat counts up meanwhile */
export function showBeat(beat: SharedArrayBuffer): void {
  const beats = new Int32Array(beat);
  setInterval(() => Atomics.add(beats, 0, 1), BEAT_MS);
}

/** Ends a thread that hangs. @param ended called once it has ended, with why */
export function watchThread(
  worker: Worker,
  beat: SharedArrayBuffer,
  ended: (why: string) => void,
): void {
  let why = 'it ended by itself';
  worker.on('error', (error) => {
    why = error.message;
  });
  const beats = new Int32Array(beat);
  const unwatch = watchForHang({
    beat: () => Atomics.load(beats, 0),
    hungMs: HUNG_MS,
    lookEveryMs: LOOK_EVERY_MS,
    hung: (reason) => {
      why = reason;
      void worker.terminate();
    },
  });
  worker.on('exit', () => {
    unwatch();
    ended(why);
  });
}
