import { setFlagsFromString } from 'node:v8';

/** V8's own, and 16 times as much (bytes of bytecode that run until V8 looks at a function). */
const USUAL = '--interrupt-budget=67584';
const LARGE = '--interrupt-budget=1081344';
/**
 * Later versions of V8 count otherwise, and complain of a flag that they do not have. And the caches that are
 * made in a session (startup/with-cache.ts) are good for the flags of the moment in which they are made.
 */
const APPLIES = process.versions.v8.startsWith('11.3.') && !process.env.SINEW_MAKE_CACHE;

/**
 * Does work that is seldom asked for, and that V8 shall optimize only after 16 times as many runs as usual. Its
 * optimizer works in helper threads. On one processor these go before the thread of a capture, for which
 * somebody waits; and the core waits for the lock of V8's queue of work while the thread that has it does
 * not get its turn. While the work runs, the flag holds for all threads; a program that loads meanwhile does so
 * without its cache.
 */
export function seldom<T>(work: () => T): T {
  if (!APPLIES) return work();
  setFlagsFromString(LARGE);
  try {
    return work();
  } finally {
    setFlagsFromString(USUAL);
  }
}
