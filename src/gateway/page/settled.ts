import { useEffect, useState } from 'preact/hooks';

/** A button that has just become another one takes no press: that was meant for the one before (ms). */
const SETTLE_MS = 700;

/** Whether what a button stands for has been the same for long enough that a press means it. */
export function useSettled(what: string): boolean {
  const [settled, setSettled] = useState(what);
  useEffect(() => {
    const timer = setTimeout(() => setSettled(what), SETTLE_MS);
    return () => clearTimeout(timer);
  }, [what]);
  return settled === what;
}

/** False at first: a press that was meant for what stood there before does nothing. */
export function useReady(): boolean {
  const [ready, setReady] = useState(false);
  useEffect(() => {
    const timer = setTimeout(() => setReady(true), SETTLE_MS);
    return () => clearTimeout(timer);
  }, []);
  return ready;
}
