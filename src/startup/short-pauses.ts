import { setFlagsFromString } from 'node:v8';

/** Each as it is from now on, and as V8 has it. */
const FLAGS: readonly (readonly [string, string])[] = [
  ['--no-flush-bytecode', '--flush-bytecode'],
  ['--no-baseline-batch-compilation', '--baseline-batch-compilation'],
  ['--no-parallel-scavenge', '--parallel-scavenge'],
  ['--no-concurrent-array-buffer-sweeping', '--concurrent-array-buffer-sweeping'],
  // Later versions of V8 count otherwise, and complain of a flag that they do not have.
  ...(process.versions.v8.startsWith('11.3.')
    ? [['--interrupt-budget=1081344', '--interrupt-budget=67584'] as const]
    : []),
];

/**
 * From now on V8 takes more time in all, and less at once: it does not throw code away that has not run for
 * a while, and compile it again in the middle of a show; it does not save up functions to compile them in
 * one go; its scavenger gives helper threads nothing to do, for whose locks the core would wait; and it
 * optimizes a function only once it has run for 16 times as long, as those of a tick soon have. Its optimizer
 * works in helper threads: on one processor they would go before the thread of a capture for which somebody
 * waits, and the core would wait for the lock of V8's queue of work while the thread that has it does not
 * get its turn. Not before: Node's own compiled code is good for the usual flags only. Not every flag may
 * change in a program that runs: without parallel marking V8 11.3 crashes.
 */
export function preferShortPauses(): void {
  for (const [flag] of FLAGS) setFlagsFromString(flag);
}

/** Takes that back. V8 uses compiled code only under the flags under which it was kept. */
export function usualPauses(): void {
  for (const [, usual] of FLAGS) setFlagsFromString(usual);
}
