/** Where in a whole ms of the system's clock a time is met best (ms). */
const FIT_MS = 0.4;

/**
 * The first time from `fromMs` on that suits timers of the system's clock. They count whole ms, and
 * in a busy loop they fire as one begins: what is due a little before its middle is met half a ms early
 * or late at most. As no delay is shorter than 1 ms, what is due after the middle comes later.
 */
export function fitTimersMs(fromMs: number): number {
  const aheadMs = Number(process.hrtime.bigint()) / 1e6 - performance.now();
  return Math.ceil(fromMs + aheadMs - FIT_MS) + FIT_MS - aheadMs;
}
