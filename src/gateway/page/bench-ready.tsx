import { useComputed } from '@preact/signals';
import { condition, holder, holding } from './store.ts';

/** What is missing before anything can move from here; its button is in the frame. Empty when nothing is. */
export function useReadiness() {
  return useComputed(() => {
    if (!holding.value)
      return holder.value
        ? `${holder.value} has control: you can only look on.`
        : 'To move anything, first take control: the first button at the bottom.';
    if (condition.value === 'live') return '';
    const wake = 'Waking moves it: hands off, then press Wake, the first button at the bottom.';
    return `The prop is ${condition.value}.${condition.value === 'parked' ? ` ${wake}` : ''}`;
  });
}

/** The same as a notice above what cannot be used. */
export function Readiness() {
  const text = useReadiness();
  return text.value ? <p class="ready">{text}</p> : null;
}
