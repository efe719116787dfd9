import { computed, type ReadonlySignal } from '@preact/signals';
import { frames, moving } from './store.ts';

/** From so many on, what moves is drawn with every second state: each drawing costs the whole window. */
const MANY = 12;

const isMany = computed(() => moving.value.length > MANY);
const beat = computed(() => frames.value >> 1);

/**
 * What a signal holds, read as often as it is worth drawing. Where much moves that is 10 times a second
 * instead of 20; only what is drawn waits, and never what decides.
 */
export function paced<T>(live: ReadonlySignal<T>): T {
  if (!isMany.value) return live.value;
  beat.value;
  return live.peek();
}
