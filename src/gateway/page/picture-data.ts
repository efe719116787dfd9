import { computed, effect, signal } from '@preact/signals';
import type { Result } from '../../api/methods.ts';
import { Choices } from './choices.ts';
import { type Section, sectionsOf } from './find-channels.ts';
import { browserKept } from './kept.ts';
import { KIND_WORDS } from './kind-words.ts';
import { call, linkState, stopOnly } from './link.ts';
import { channels, groups, propName, version } from './store.ts';

/** The picture of the prop and where its channels are on it; undefined until the daemon has answered. */
export const picture = signal<Result<'picture.read'> | undefined>(undefined);
/** The address of one that the browser could not show. */
export const broken = signal('');

/** The picture is there, and can be shown. */
export const hasPicture = computed(() => {
  const address = picture.value?.address;
  return address !== undefined && address !== broken.value;
});

/** Views on which somebody has folded or opened the picture. */
export const opened = new Choices('picture', browserKept);

/** Reads the picture and its places with every version of the prop file. To be called once. */
export function watchPicture(): void {
  effect(() => opened.load(propName.value));
  effect(() => {
    if (linkState.value === 'open' && version.value && !stopOnly.value) void readPicture();
  });
}

let reading = 0;

/** Reads it again: the file beside the prop file may have come. */
export async function readPicture(): Promise<void> {
  const mine = ++reading;
  try {
    const read = await call('picture.read', {});
    // Another version may have come meanwhile; then the next answer counts.
    if (mine === reading) picture.value = read;
  } catch {
    // Without it there is the schematic; a lost link says so by itself.
  }
}

/** The groups of the prop as boxes, and its other channels by their sorts. */
export const boxes = computed<readonly Section[]>(() =>
  sectionsOf(channels.value, groups.value, (kind) => KIND_WORDS[kind].sheet).filter(
    ({ names }) => names.length > 0,
  ),
);
