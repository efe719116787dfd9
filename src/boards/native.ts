import { createRequire } from 'node:module';
import { getSystemErrorName } from 'node:util';
import { Refusal } from '../shared/errors.ts';

/** The npm package koffi, which calls C functions from any thread. It may be absent. */
type Koffi = typeof import('koffi').default;

/**
 * Loads koffi synchronously: an import would wait for libuv's pool, which a slow disk may block.
 * @throws Refusal when it is not installed
 */
export function loadKoffi(): Koffi {
  try {
    return createRequire(import.meta.url)('koffi');
  } catch (error) {
    throw new Refusal(
      'driver.no-library',
      `the npm package koffi is not there (${(error as Error).message}); install it with npm install koffi`,
    );
  }
}

/** Throws the errno of this thread's last C call as an Error with `code`, like Node's own errors. */
export function throwErrno(koffi: Koffi, call: string): never {
  const errno = koffi.errno();
  const code = getSystemErrorName(-errno);
  throw Object.assign(new Error(`${code} from ${call}`), { code, errno });
}
