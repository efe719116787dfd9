import { effect, signal, untracked } from '@preact/signals';
import type { JournalEntry } from '../../api/types.ts';
import { overOf } from './refusal.ts';
import { lastEvent, moving } from './store.ts';

interface Refused {
  /** Why, in the daemon's words. */
  words: string;
  isOver: () => boolean;
}

/** Channels of which the last thing that anybody asked was refused, and why. */
export const refusedChannels = signal<ReadonlyMap<string, Refused>>(new Map());

/** Keeps them from the journal. A refusal goes when it is over, and when the channel obeys. To be called once. */
export function watchRefusedChannels(): void {
  effect(() => {
    const entry = lastEvent.value;
    if (entry) untracked(() => note(entry));
  });
  let before: ReadonlySet<string> = new Set();
  effect(() => {
    const names = new Set(moving.value);
    untracked(() => drop((name) => names.has(name) && !before.has(name)));
    before = names;
  });
  effect(() => {
    const over = [...refusedChannels.value].filter(([, { isOver }]) => isOver());
    if (over.length > 0) drop((name) => over.some(([gone]) => gone === name));
  });
}

function note({ what, text, values }: JournalEntry): void {
  const channel = values?.channel;
  if (typeof channel !== 'string') return;
  if (what !== 'refused') drop((name) => name === channel);
  else {
    const words = text.slice(text.indexOf(': ') + 2);
    refusedChannels.value = new Map(refusedChannels.peek()).set(channel, {
      words,
      isOver: overOf(values!),
    });
  }
}

function drop(isGone: (name: string) => boolean): void {
  const left = [...refusedChannels.peek()].filter(([name]) => !isGone(name));
  if (left.length < refusedChannels.peek().size) refusedChannels.value = new Map(left);
}
