import { describe, expect, it } from 'vitest';
import { formatFinding } from '../../../src/prop/finding.ts';
import {
  MAX_TAKE_CHARS,
  MAX_TAKE_POINTS,
  parseTake,
  type Take,
  takeText,
} from '../../../src/prop/take/take-text.ts';
import { plain } from '../../../src/shared/plain.ts';
import fc from '../../fast-check.ts';

const said = (text: string) =>
  parseTake(text, 'wave.take').findings.map((one) => formatFinding(one, 'wave.take'));

describe('the text of a take', () => {
  const wave: Take = {
    servos: [
      { name: 'beak', timesS: [0, 0.02, 1.5], deg: [0, -3.25, 17.125] },
      { name: 'lid_left', timesS: [0], deg: [5] },
    ],
  };

  it('is a point a line, below the name of its servo', () => {
    expect(takeText(wave)).toBe(
      'sinew take 1\n# s deg\n\nservo beak\n0 0\n0.02 -3.25\n1.5 17.125\n\nservo lid_left\n0 5\n',
    );
    expect(parseTake(takeText(wave), 'wave.take')).toEqual({
      file: 'wave.take',
      take: wave,
      findings: [],
    });
  });

  it('is read with comments, spaces, a byte order mark and line ends of another system', () => {
    const text =
      '\uFEFF# by hand\r\n sinew take 1\r\n\r\nservo  beak\r\n# soft\r\n\t0\t.5\r\n1. +2\r\n';
    expect(parseTake(text, 'wave.take').take).toEqual({
      servos: [{ name: 'beak', timesS: [0, 1], deg: [0.5, 2] }],
    });
  });

  it('rounds to a millisecond and a thousandth of a degree, never with an exponent', () => {
    const servos = [{ name: 'beak', timesS: [0, 0.0001, 1 / 3], deg: [1e-9, 4, -20 / 3] }];
    expect(takeText({ servos })).toContain('servo beak\n0 0\n0.333 -6.667\n');
  });

  it.each([
    ['', 'wave.take:1:1: (file): the file is empty; its first line is: sinew take 1'],
    ['beak: 1\n', 'wave.take:1:1: (file): "beak: 1" does not begin a take; write: sinew take 1'],
    [
      'sinew take 2\n',
      'wave.take:1:1: (file): version 2 of takes is not known; write: sinew take 1, or use a later Sinew',
    ],
    [
      'sinew take 1\nservo 9\n0 0\n',
      'wave.take:2:7: (file): "9" is not the name of a channel; use letters, digits, _ and -, beginning with a letter',
    ],
    [
      'sinew take 1\nservo a\n0 0\n  0 1\n',
      'wave.take:4:3: (file): 0 s is not later than 0 s, the point before it; put the points in the order of their times, each time once',
    ],
    [
      'sinew take 1\nservo a\n0 1e3\n',
      'wave.take:3:3: (file): "1e3" is not an angle; give degrees, such as 12.5',
    ],
    [
      'sinew take 1\n0 0\n',
      'wave.take:2:1: (file): the point belongs to no servo; write before it: servo NAME',
    ],
    [
      'sinew take 1\nservo a\n0 0\nservo a\n1 0\n',
      'wave.take:4:7: (file): servo a is in the take already; put all of its points in one place',
    ],
    [
      'sinew take 1\nservo a\n0 0 0\n',
      'wave.take:3:1: (file): "0 0 0" is not a point; give the time (s) and the angle (deg), such as 0.5 12',
    ],
    [
      'sinew take 1\nservo a\n-1 0\n',
      'wave.take:3:1: (file): -1 s is before the start; times begin at 0',
    ],
  ])('%j is refused with its place and the remedy', (text, finding) => {
    expect(said(text)[0]).toBe(finding);
    expect(parseTake(text, 'wave.take').take).toBeUndefined();
  });

  it('reports all that is wrong, but no more than 20 things', () => {
    expect(said('sinew take 1\nservo a\nx 0\n0 y\n0 36001\nservo b\n')).toEqual([
      expect.stringContaining(':3:1: (file): "x" is not a time'),
      expect.stringContaining(':4:3: (file): "y" is not an angle'),
      expect.stringContaining(':5:3: (file): 36001 deg is more than any servo turns'),
      expect.stringContaining('servo b, before this line, has no points'),
    ]);
    expect(said(`sinew take 1\nservo a\n${'?\n'.repeat(5000)}`)).toHaveLength(20);
  });

  it('has bounds', () => {
    expect(said(' '.repeat(MAX_TAKE_CHARS + 1))[0]).toContain('larger than 1 MiB');
    const points = Array.from({ length: MAX_TAKE_POINTS + 5 }, (_, i) => `${i / 100} 0`);
    expect(said(`sinew take 1\nservo a\n${points.join('\n')}`)).toEqual([
      expect.stringContaining(`more than ${MAX_TAKE_POINTS} points`),
    ]);
    expect(said('sinew take 1\nservo a\n0 0\n601 0')[0]).toContain('later than 600 s');
  });

  it('is not written where it could not be read', () => {
    const one = (timesS: number[], deg: number[]) => ({ servos: [{ name: 'a', timesS, deg }] });
    expect(() => takeText(one([0], [Number.NaN]))).toThrow(RangeError);
    expect(() => takeText(one([1, 0], [0, 0]))).toThrow(/not later/);
    expect(() => takeText({ servos: [] })).toThrow(/no servo/);
  });

  it('never makes the reader throw, and has every finding inside the text', () => {
    const word = fc.constantFrom(
      ...['sinew take 1', 'servo a', 'servo __proto__', '0 0', '1 2', '\u202e', '\0', '# x'],
      ...['9'.repeat(400), '- -', '+. 1', 'servo', '\ud800', '0x10 1', '1e999 0', '\t', 'NaN 1'],
    );
    const text = fc.oneof(
      fc.string({ unit: 'binary' }),
      fc.array(word).map((words) => `sinew take 1\n${words.join('\n')}`),
    );
    fc.assert(
      fc.property(text, (given) => {
        const { take, findings } = parseTake(given, 'wave.take');
        expect(take === undefined).toBe(findings.length > 0);
        const lines = given.split('\n');
        for (const { line, column, wrong } of findings) {
          expect(line).toBeLessThanOrEqual(lines.length);
          expect(column).toBeLessThanOrEqual(lines[line - 1]!.length + 1);
          expect(plain(wrong)).toBe(wrong);
        }
        if (take) expect(parseTake(takeText(take), 'b').take).toBeDefined();
      }),
    );
  });
});
