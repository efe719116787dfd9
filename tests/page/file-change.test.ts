import { beforeEach, expect, test, vi } from 'vitest';

// What the page reads of its address when it is loaded.
vi.stubGlobal('location', { hash: '' });
const { lastChange, undoable } = await import('../../src/gateway/page/file-change.ts');

const change = { what: 'cue wink', before: 'a', after: 'b' };
beforeEach(() => {
  lastChange.value = undefined;
});

test('a saved change can be undone while it is the last change of the file', () => {
  expect(undoable('b')).toBeUndefined();
  lastChange.value = change;
  expect(undoable('b')).toEqual(change);
  // Somebody has changed the file since, or nobody knows.
  expect(undoable('c')).toBeUndefined();
  expect(undoable(undefined)).toBeUndefined();
});
