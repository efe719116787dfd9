import { loadKoffi } from './native.ts';

/**
 * How to end this process at once, with an exit code: for the end of a daemon whose outputs are safe.
 * `process.exit` waits for every worker thread and for every thread of libuv's pool, without a limit:
 * one call that hangs, on a bus or on a disk, keeps the process for as long (seen with Node 20).
 * To be called at the start: the disk may be what hangs later.
 * @returns with koffi the C library's `_exit` (POSIX.1-2017, _Exit), else SIGKILL, whose exit code is
 * not the one given. Neither runs listeners of `exit`, and neither waits for output that is on its way.
 */
export function loadEndNow(): (code: number) => never {
  let exit: (code: number) => void = () => {};
  try {
    exit = loadKoffi().load(null).func('void _exit(int status)');
  } catch {
    // Not installed.
  }
  return (code) => {
    exit(code);
    process.kill(process.pid, 'SIGKILL');
    // The signal takes effect before this returns, and no caller is to go on.
    for (;;) Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0);
  };
}
