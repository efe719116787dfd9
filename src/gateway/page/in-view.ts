import { type ReadonlySignal, type Signal, useComputed, useSignal } from '@preact/signals';
import type { RefObject } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import type { ChannelState } from '../../api/types.ts';
import { paced } from './pace.ts';
import { stateOf } from './store.ts';

/** Rows so far outside the window are brought up to date before they are scrolled into it. */
const MARGIN = '200px 0px';

const seen = new WeakMap<Element, Signal<boolean>>();
let observer: IntersectionObserver | undefined;

function watch(element: Element, isSeen: Signal<boolean>): () => void {
  observer ??= new IntersectionObserver(
    (entries) => {
      for (const { target, isIntersecting } of entries) {
        const signal = seen.get(target);
        if (signal) signal.value = isIntersecting;
      }
    },
    { rootMargin: MARGIN },
  );
  seen.set(element, isSeen);
  observer.observe(element);
  return () => {
    observer?.unobserve(element);
    seen.delete(element);
  };
}

/** The live state of a channel, for an element that follows it only while it is in view. */
export function useSeenState<E extends Element>(
  channel: string,
): { ref: RefObject<E | null>; state: ReadonlySignal<ChannelState> } {
  const ref = useRef<E>(null);
  const isSeen = useSignal(true);
  useEffect(() => watch(ref.current!, isSeen), []);
  const state = useComputed(() =>
    isSeen.value ? paced(stateOf(channel)) : stateOf(channel).peek(),
  );
  return { ref, state };
}
