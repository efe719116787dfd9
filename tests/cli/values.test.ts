import { describe, expect, test } from 'vitest';
import {
  address,
  between,
  degreesOrMark,
  number,
  seconds,
  secondsOrNone,
  whole,
  words,
} from '../../src/cli/values.ts';

describe('values of a command line', () => {
  test('numbers, with the sign and the forms people type', () => {
    expect(number('+1.5')).toBe(1.5);
    expect(number('-.5')).toBe(-0.5);
    expect(number('1e2')).toBe(100);
    expect(number('3.')).toBe(3);
    for (const bad of ['', 'NaN', 'Infinity', '1e999', '0x10', '1,5', '12deg', '--3', ' 3']) {
      expect(() => number(bad), bad).toThrow(/Give a number/);
    }
  });

  test('an angle or a mark', () => {
    expect(degreesOrMark('-3')).toBe(-3);
    expect(degreesOrMark('open')).toBe('open');
    for (const bad of ['3x', '12,5', '1e999', '']) {
      expect(() => degreesOrMark(bad), bad).toThrow(/mark/);
    }
  });

  test('seconds and ranges', () => {
    expect(seconds('0.2')).toBe(0.2);
    expect(() => seconds('0')).toThrow(/more than 0/);
    expect(secondsOrNone('0')).toBe(0);
    expect(() => secondsOrNone('-1')).toThrow(/0 or more/);
    expect(between(0, 300, 'seconds')('300')).toBe(300);
    expect(() => between(0, 300, 'seconds')('300.5')).toThrow(/from 0 to 300/);
    expect(whole(1, 50)('50')).toBe(50);
    for (const bad of ['0', '51', '1.5', '-1']) expect(() => whole(1, 50)(bad), bad).toThrow();
  });

  test('addresses; brackets around IPv6 as in RFC 3986, section 3.2.2', () => {
    expect(address('prop.local')).toEqual({ host: 'prop.local', port: 7420 });
    expect(address('10.0.0.7:80')).toEqual({ host: '10.0.0.7', port: 80 });
    expect(address('[::1]:9')).toEqual({ host: '[::1]', port: 9 });
    for (const bad of ['', ':80', 'a:0', 'a:65536', 'a:b', 'ws://a', '::1', 'a b']) {
      expect(() => address(bad), bad).toThrow(/HOST:PORT/);
    }
  });

  // Quoting as in POSIX, Shell Command Language, section 2.2.
  test('words of a line, with quotes and comments', () => {
    expect(words('  move beak  -3 ')).toEqual(['move', 'beak', '-3']);
    expect(words(`colour eye "oklch(75% 0.15 80)"`)).toEqual([
      'colour',
      'eye',
      'oklch(75% 0.15 80)',
    ]);
    expect(words(`a'b c'd ""`)).toEqual(['ab cd', '']);
    expect(words('# all of it')).toEqual([]);
    expect(words('  #all of it')).toEqual([]);
    expect(words('colour eye #ff8800 # a warm one')).toEqual(['colour', 'eye', '#ff8800']);
    expect(() => words('find "J1')).toThrow(/not closed/);
  });
});
