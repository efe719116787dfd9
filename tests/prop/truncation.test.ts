import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { parse, stringify } from 'yaml';
import { truncation } from '../../src/prop/truncation.ts';
import { OWL } from './helpers.ts';

const other = readFileSync(new URL('../../config/dusk-street.yaml', import.meta.url), 'utf8');
const plain = OWL;
/** The owl with an end line. */
const ended = `${OWL}...\n`;

test.each([
  ['the same', ended, ended],
  ['without its last line break', plain.trimEnd(), plain],
  ['with more line breaks', `${plain}\n\n`, plain],
  ['with Windows line breaks', ended.replaceAll('\n', '\r\n'), ended],
  ['edited in the middle', plain.replace('accelDegS2: 600', 'accelDegS2: 500'), plain],
  ['made longer', `${plain}# more\n`, plain],
  ['shortened on purpose', `${plain.slice(0, plain.indexOf('poses:'))}...\n`, plain],
  [
    'shortened on purpose, with an end line',
    `${ended.slice(0, ended.indexOf('poses:'))}... # so\n`,
    ended,
  ],
  ['with an end line for the first time', ended, plain],
  ['another prop in its place', other, ended],
  ['written again by a program', stringify(parse(ended)), ended],
])('a file is whole that is %s', (_, text, known) => {
  expect(truncation(text, known)).toBeUndefined();
});

test.each([
  ['cut at a line', plain.slice(0, plain.indexOf('poses:')), plain, /last \d+ lines/],
  ['cut within a number', plain.slice(0, plain.lastIndexOf('6')), plain, /beginning/],
  ['cut before the end line', ended.slice(0, ended.lastIndexOf('...')), ended, /three dots/],
  [
    'edited, then cut',
    ended.replace('name: Foyer owl', 'name: Upstairs owl').slice(0, ended.indexOf('poses:')),
    ended,
    /three dots/,
  ],
])('a file is cut off that is %s', (_, text, known, why) => {
  expect(truncation(text, known)).toMatch(why);
});

test('the beginning of it at every byte', () => {
  for (let length = 0; length < plain.trimEnd().length; length++)
    expect(truncation(plain.slice(0, length), plain), String(length)).toBeDefined();
});

test('blanks and line ends take time that grows with their size alone', () => {
  // By the square of its size, this would take hours.
  const blanks = ' '.repeat(2_000_000);
  expect(truncation(`a: 1\n...${blanks}x`, 'a: 1\n')).toBeUndefined();
  expect(truncation('a: 1\n... # the end\n\n', 'a: 1\nb: 2\n...\n')).toBeUndefined();
  expect(truncation('a: 1\r\n...\r\n', 'a: 1\r\nb: 2\r\n...\r\n')).toBeUndefined();
});
