import { expect, it } from 'vitest';
import { guarded, readKept } from '../../src/gateway/page/kept.ts';

function storage(most: number) {
  const kept = new Map<string, string>();
  return {
    getItem: (key: string) => kept.get(key) ?? null,
    setItem: (key: string, value: string) => {
      if (value.length > most) throw new Error('QuotaExceededError');
      kept.set(key, value);
    },
    removeItem: (key: string) => void kept.delete(key),
  };
}

it('keeps for as long as the page what a full storage does not take', () => {
  const full = storage(5);
  const kept = guarded(() => full);
  kept.setItem('order', 'short');
  kept.setItem('order', 'too long');
  expect(kept.getItem('order')).toBe('too long');
  kept.setItem('order', 'fits');
  expect(kept.getItem('order')).toBe('fits');
  expect(full.getItem('order')).toBe('fits');
  kept.removeItem('order');
  expect(kept.getItem('order')).toBeNull();
});

it('does the same where even to ask for the storage is forbidden', () => {
  const kept = guarded(() => {
    throw new Error('SecurityError');
  });
  expect(kept.getItem('token')).toBeNull();
  kept.setItem('token', 'abc');
  expect(kept.getItem('token')).toBe('abc');
  kept.removeItem('token');
  expect(kept.getItem('token')).toBeNull();
});

it.each([
  [null, undefined],
  ['{', undefined],
  ['null', null],
  ['[1]', [1]],
])('reads %s as %o', (text, value) => {
  expect(readKept(text)).toEqual(value);
});
