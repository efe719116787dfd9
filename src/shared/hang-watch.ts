interface HangWatch {
  /** What the thread counts up while it lives. */
  beat(): number;
  /** It hangs when it shows no beat for this long; it is looked at this often (ms). */
  hungMs: number;
  lookEveryMs: number;
  /** Called once, with why it is to be ended. */
  hung(why: string): void;
}

/**
 * Notices a thread that hangs. Looks are counted instead of time: while this thread stood still itself, it
 * looked once. @returns how to end that
 */
export function watchForHang({ beat, hungMs, lookEveryMs, hung }: HangWatch): () => void {
  let last = beat();
  let silentMs = 0;
  const watching = setInterval(() => {
    const now = beat();
    silentMs = now === last ? silentMs + lookEveryMs : 0;
    last = now;
    if (silentMs < hungMs) return;
    clearInterval(watching);
    hung(`it was silent for ${hungMs / 1000} s`);
  }, lookEveryMs);
  watching.unref();
  return () => clearInterval(watching);
}
