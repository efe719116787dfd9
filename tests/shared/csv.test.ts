import { PassThrough } from 'node:stream';
import { expect, test } from 'vitest';
import { print } from '../../src/cli/output.ts';
import { csvCell } from '../../src/shared/csv.ts';

// OWASP, "CSV Injection": cells that begin with = + - @, tab or carriage return; from memory.
test.each([
  ['=1+1', `"'=1+1"`],
  ['=HYPERLINK("http://x","y")', `"'=HYPERLINK(""http://x"",""y"")"`],
  ['+49', `"'+49"`],
  ['-12V', `"'-12V"`],
  ['@SUM(A1)', `"'@SUM(A1)"`],
  ['\t=1', `"'\t=1"`],
  ['\r=1', `"'\r=1"`],
])('the text %j is not a formula', (text, cell) => {
  expect(csvCell(text)).toBe(cell);
});

test.each([
  [-5.5, '-5.5'],
  ['W07', 'W07'],
  ['#ff8000', '#ff8000'],
  ['a=b', 'a=b'],
  [undefined, ''],
  ['one, "two"', '"one, ""two"""'],
])('%j stays as RFC 4180 has it', (value, cell) => {
  expect(csvCell(value)).toBe(cell);
});

test('a name cannot command the terminal, and lines and tabs stay', async () => {
  const stream = new PassThrough();
  print(stream, 'owl\x1b]0;gone\x07\x9b2J\u202Elwo\tso\nnext');
  expect(String(stream.read())).toBe('owl\ufffd]0;gone\ufffd\ufffd2J\ufffdlwo\tso\nnext\n');
});
