import { loadKoffi } from './native.ts';

/**
 * Prepares to end this process at once, with an exit code, when its outputs are safe. `process.exit`
 * waits for every worker thread and every thread of libuv's pool without a limit, so one call that hangs
 * on a bus or a disk keeps the process alive (seen with Node 20). Call this at the start: later, the disk
 * may be what hangs.
 * @returns with koffi the C library's `_exit` (POSIX.1-2017, _Exit), otherwise SIGKILL, which ignores the
 * exit code. Neither runs listeners of `exit`, and neither waits for pending output.
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
    // The caller must not continue before the signal takes effect.
    for (;;) Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0);
  };
}
