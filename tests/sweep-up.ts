import { setFlagsFromString } from 'node:v8';
import { runInNewContext } from 'node:vm';

/** Collects the garbage of this thread. V8 lends its function to contexts that are made under a flag. */
export function sweepUp(): void {
  setFlagsFromString('--expose-gc');
  const collect: (() => void) | undefined = runInNewContext('globalThis.gc');
  setFlagsFromString('--no-expose-gc');
  collect?.();
}
