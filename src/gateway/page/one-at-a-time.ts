import { useRef } from 'preact/hooks';

/** Runs one piece of work at a time: what is asked for meanwhile is left out, never queued. */
export function useOneAtATime(): <T>(work: () => Promise<T>) => Promise<T | undefined> {
  const isBusy = useRef(false);
  return async (work) => {
    if (isBusy.current) return undefined;
    isBusy.current = true;
    try {
      return await work();
    } finally {
      isBusy.current = false;
    }
  };
}
