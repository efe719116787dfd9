import { getHeapStatistics, setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

/** How much a heap may grow until its garbage is worth a collection (bytes). */
const GROWN_BYTES = 3 * 2 ** 20;

const usedBytes = () => getHeapStatistics().used_heap_size;

/**
 * Collects this thread's garbage where there is enough of it. To be called when nobody waits for the thread:
 * V8 itself collects when the heap is full, which is mostly in the middle of a capture, as captures are what
 * fills it. On a slow board that one took up to 300 ms longer.
 */
export function makeCollector(): () => void {
  // The caches that are made in a session (startup/with-cache.ts) shall hold what V8 would throw away.
  if (process.env.SINEW_MAKE_CACHE) return () => {};
  let collect: (() => void) | undefined;
  let leftBytes = 0;
  return () => {
    if (usedBytes() - leftBytes < GROWN_BYTES) return;
    collect ??= collection();
    collect();
    leftBytes = usedBytes();
  };
}

/** V8 offers it to those who ask with a flag, which a context reads when it is made. */
function collection(): () => void {
  setFlagsFromString('--expose-gc');
  try {
    return runInNewContext('gc') as () => void;
  } catch {
    // A version of Node that does not offer it.
    return () => {};
  } finally {
    // A cache is good for the flags with which it was made.
    setFlagsFromString('--no-expose-gc');
  }
}
