import { expect, test } from 'vitest';
import { writeOutcomeOf, writeOutcomeText } from '../../src/shared/write-outcome.ts';

const [A, B, C] = [
  { version: 'a', who: 'ann' },
  { version: 'b', who: 'bob' },
  { version: 'c', who: 'ann' },
];
const writing = { what: 'mark open of beak', version: 'a' };

test.each([
  ['nothing came after it', [A], 'not written'],
  ['its own came after it', [C, A], { written: 'c' }],
  ['its own and then another', [B, C, A], { written: 'c' }],
  ['only somebody else wrote', [B, A], 'not written'],
  ['its own is older', [B, A, C], 'not written'],
  ['the version before is no longer kept', [B], 'not known'],
  ['nothing is kept', [], 'not known'],
])('%s', (_name, versions, fate) => {
  expect(writeOutcomeOf(writing, versions, 'ann')).toEqual(fate);
});

test('it is said in words', () => {
  expect(writeOutcomeText('mark open of beak', { written: 'c' })).toBe(
    'mark open of beak was written to the prop file (version c)',
  );
  expect(writeOutcomeText('the undo', 'not written')).toBe(
    'the undo was not written to the prop file',
  );
  expect(writeOutcomeText('the undo', 'not known')).toMatch(/not known; look with sinew history/);
});
