import { setFlagsFromString } from 'node:v8';

const FLAGS = [
  'flush-bytecode',
  'baseline-batch-compilation',
  'parallel-scavenge',
  'concurrent-array-buffer-sweeping',
];

/**
 * From now on V8 takes more time in all, and less at once: it does not throw code away that has not run for
 * a while, and compile it again in the middle of a show; it does not save up functions to compile them in
 * one go; and its scavenger gives helper threads nothing to do, for whose locks the core would wait. Not before:
 * Node's own compiled code is good for the usual flags only. Not every flag may change in a program that
 * runs: without parallel marking V8 11.3 crashes.
 */
export function preferShortPauses(): void {
  for (const flag of FLAGS) setFlagsFromString(`--no-${flag}`);
}

/** Takes that back. V8 uses compiled code only under the flags under which it was kept. */
export function usualPauses(): void {
  for (const flag of FLAGS) setFlagsFromString(`--${flag}`);
}
