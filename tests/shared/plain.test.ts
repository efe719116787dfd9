import { expect, test } from 'vitest';
import { plain } from '../../src/shared/plain.ts';
import fc from '../fast-check.ts';

// Unicode Standard, section 4.5, general category (from memory): C and its kinds, Zl, Zp.
const HIDDEN = /[\p{C}\p{Zl}\p{Zp}]/gu;

test('each hidden character is replaced, whatever stands beside it', () => {
  fc.assert(
    fc.property(fc.oneof(fc.string(), fc.string({ unit: 'binary' })), (text) => {
      expect(plain(text)).toBe(text.replace(HIDDEN, '\ufffd'));
    }),
  );
});

test.each([
  ['beak to 30 deg', 'beak to 30 deg'],
  ['two\nlines', 'two\ufffdlines'],
  ['ends with one\n', 'ends with one\ufffd'],
  ['\u001b[2J', '\ufffd[2J'],
  ['Größe', 'Größe'],
  ['turned \u202e round', 'turned \ufffd round'],
  ['delete \u007f', 'delete \ufffd'],
  ['', ''],
])('%j', (text, shown) => {
  expect(plain(text)).toBe(shown);
});
