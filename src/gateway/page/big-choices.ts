import { effect } from '@preact/signals';
import { Choices } from './choices.ts';
import { browserKept } from './kept.ts';
import { propName } from './store.ts';

/** Channels that somebody put first, and sections that somebody folded or opened. */
export const favourites = new Choices('favourites', browserKept);
export const folds = new Choices('folds', browserKept);

effect(() => {
  favourites.load(propName.value);
  folds.load(propName.value);
});
