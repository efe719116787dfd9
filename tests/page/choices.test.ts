import { expect, test } from 'vitest';
import { Choices } from '../../src/gateway/page/choices.ts';
import { guarded } from '../../src/gateway/page/kept.ts';
import { storage } from './storage.ts';

test('a choice is kept for its prop alone, and can be taken back', () => {
  const browser = storage();
  const choices = new Choices('favourites', browser);
  choices.load('Owl');
  choices.set('beak', true);
  choices.set('tail', false);
  const again = new Choices('favourites', browser);
  again.load('Owl');
  expect([...again.made.value]).toEqual([
    ['beak', true],
    ['tail', false],
  ]);
  again.load('Hand');
  expect(again.made.value.size).toBe(0);
  again.load('Owl');
  again.set('beak', undefined);
  choices.load('Owl');
  expect([...choices.made.value]).toEqual([['tail', false]]);
});

test.each(['{', 'null', '{"beak":true}', '[["beak"]]', '[[1,true]]', '[["beak","yes"]]'])(
  'what somebody else wrote there is no choice: %s',
  (text) => {
    const choices = new Choices('folds', storage({ 'sinew-folds/Owl': text }));
    choices.load('Owl');
    expect(choices.made.value.size).toBe(0);
  },
);

test('where the browser keeps nothing, a choice lasts as long as the page', () => {
  const choices = new Choices(
    'folds',
    guarded(() => {
      throw new Error('forbidden');
    }),
  );
  choices.load('Owl');
  choices.set('tail', true);
  expect(choices.made.value.get('tail')).toBe(true);
});
