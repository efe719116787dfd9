import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { type Edit, splice } from '../../src/prop/splice.ts';
import { OWL } from './helpers.ts';

const edit = (path: string, value: unknown): Edit => ({
  path: path.split('.').map((key) => (/^\d+$/.test(key) ? Number(key) : key)),
  value,
});

describe('splice', () => {
  test.each<[title: string, text: string, edit: Edit, result: string]>([
    ['a value', 'a:   1   # one\nb: 2\n', edit('a', 5), 'a:   5   # one\nb: 2\n'],
    [
      'a value in a flow map',
      'a: {x: 1,y:  2 } # c\n',
      edit('a.y', -0.5),
      'a: {x: 1,y:  -0.5 } # c\n',
    ],
    ['an element', 'a: [ 1,2 , 3 ]\n', edit('a.1', 9), 'a: [ 1,9 , 3 ]\n'],
    ['a list of the same length', 'a: [1.0, 2]\n', edit('a', [1, 7]), 'a: [1.0, 7]\n'],
    ['a list of another length', 'a: [1, 2] # c\n', edit('a', [1, 2, 3]), 'a: [1, 2, 3] # c\n'],
    ['a block list', 'a:\n  - 1 # one\n  - 2\n', edit('a', [1, 3]), 'a:\n  - 1 # one\n  - 3\n'],
    ['double quotes', 'a: "x" # c\n', edit('a', 'y'), 'a: "y" # c\n'],
    ['single quotes', "a: 'x'\n", edit('a', "it's"), "a: 'it''s'\n"],
    ['a colour', 'a: "#000"\n', edit('a', '#fff'), 'a: "#fff"\n'],
    ['a new key in a flow map', 'a: { x: 1 } # c\n', edit('a.y', 2), 'a: { x: 1, y: 2 } # c\n'],
    ['a new key after a trailing comma', 'a: { x: 1, }\n', edit('a.y', 2), 'a: { x: 1, y: 2, }\n'],
    ['a new key in an empty map', 'a: {}\n', edit('a.y', 2), 'a: { y: 2 }\n'],
    [
      'a new key where nothing was',
      'a: # none yet\nb: 1\n',
      edit('a.y', 2),
      'a: { y: 2 } # none yet\nb: 1\n',
    ],
    [
      'a new key in a flow map over lines',
      'a: {\n  x: 1, # one\n  y: 2 # two\n}\n',
      edit('a.z', 3),
      'a: {\n  x: 1, # one\n  y: 2, z: 3 # two\n}\n',
    ],
    [
      'a new key in a block map',
      'a:\n  x: 1 # one\n\n  # tail\nb: 2\n',
      edit('a.y', 2),
      'a:\n  x: 1 # one\n  y: 2\n\n  # tail\nb: 2\n',
    ],
    [
      'a new key after a nested map',
      'a:\n  x:\n    - p: 1\n      q: 2\nb: 2\n',
      edit('a.y', 2),
      'a:\n  x:\n    - p: 1\n      q: 2\n  y: 2\nb: 2\n',
    ],
    [
      'a new key in a map within a list',
      'a:\n  - x: 1\n  - x: 2\n',
      edit('a.0.y', 3),
      'a:\n  - x: 1\n    y: 3\n  - x: 2\n',
    ],
    [
      'a new key in a file without a last line break',
      'a:\n  x: 1',
      edit('a.y', 2),
      'a:\n  x: 1\n  y: 2',
    ],
    [
      'a new key after a block scalar',
      'a:\n  x: |\n    t\nb: 1\n',
      edit('a.y', 2),
      'a:\n  x: |\n    t\n  y: 2\nb: 1\n',
    ],
    ['a new map in a new map', 'a:\n  x: 1\n', edit('a.y.z', 2), 'a:\n  x: 1\n  y: { z: 2 }\n'],
    [
      'Windows line ends',
      'a:\r\n  x: 1 # c\r\nb: 2\r\n',
      edit('a.y', 2),
      'a:\r\n  x: 1 # c\r\n  y: 2\r\nb: 2\r\n',
    ],
    ['a byte order mark', '\uFEFFa: 1\nb: 2\n', edit('b', 3), '\uFEFFa: 1\nb: 3\n'],
    [
      'removing the first of a flow map',
      'a: { x: 1, y: 2 }\n',
      edit('a.x', undefined),
      'a: { y: 2 }\n',
    ],
    [
      'removing the last of a flow map',
      'a: { x: 1, y: 2 }\n',
      edit('a.y', undefined),
      'a: { x: 1 }\n',
    ],
    [
      'removing the only one of a flow map',
      'a: { x: 1 } # c\n',
      edit('a.x', undefined),
      'a: {} # c\n',
    ],
    [
      'removing from a block map',
      'a:\n  x: 1\n  y: { z: 1 } # c\n  w: 3\n',
      edit('a.y', undefined),
      'a:\n  x: 1\n  w: 3\n',
    ],
    [
      'removing the only one of a block map',
      'a:\n  x: 1\nb: 2\n',
      edit('a.x', undefined),
      'a:\n  {}\nb: 2\n',
    ],
    ['removing what is not there', 'a: 1\n', edit('b.c', undefined), 'a: 1\n'],
    ['setting what is there already', 'a: 0x10\n', edit('a', 16), 'a: 0x10\n'],
    ['minus zero', 'a: 1\n', edit('a', -0), 'a: 0\n'],
    ['a key that needs quotes', 'a: {}\n', edit('a.true', 'null'), 'a: { "true": "null" }\n'],
  ])('%s', (_, text, change, result) => {
    expect(splice(text, change)).toBe(result);
  });

  test.each([
    ['a: &x { y: 1 }\nb: *x\n', edit('a.y', 2)],
    ['a: &x { y: 1 }\nb: *x\n', edit('b.y', 2)],
    ['a: &x 1\nb: *x\n', edit('a', 2)],
    ['a: &x 1\nb: *x\n', edit('b', 2)],
    ['a: 1\n', edit('a.b', 2)],
    ['a: [1]\n', edit('a.1', 2)],
    ['a: [1]\n', edit('a.0', undefined)],
    ['a: |\n  t\nb: 1\n', edit('a', 5)],
  ])('refuses what cannot be changed alone: %j', (text, change) => {
    expect(() => splice(text, change)).toThrow(/cannot be changed alone; edit the file by hand/);
  });

  test('only the touched line of the demo prop changes, whatever number is set', () => {
    const paths: Edit['path'][] = [];
    const walk = (value: unknown, path: Edit['path']): void => {
      if (typeof value === 'number') paths.push(path);
      else if (Array.isArray(value))
        for (const [i, item] of value.entries()) walk(item, [...path, i]);
      else if (typeof value === 'object' && value !== null)
        for (const [key, item] of Object.entries(value)) walk(item, [...path, key]);
    };
    walk(parse(OWL), []);
    expect(paths.length).toBeGreaterThan(200);
    const number = fc.double({ noNaN: true, noDefaultInfinity: true });
    fc.assert(
      fc.property(fc.constantFrom(...paths), number, (path, value) => {
        const after = splice(OWL, { path, value });
        const [before, lines] = [OWL.split('\n'), after.split('\n')];
        expect(lines).toHaveLength(before.length);
        const touched = lines.flatMap((line, i) => (line === before[i] ? [] : [i]));
        expect(touched.length).toBeLessThanOrEqual(1);
        // The comment and everything else on that line stays, too.
        const frame = (line: string) => line.replace(/-?\d+(\.\d+)?(e[+-]?\d+)?/g, 'N');
        for (const i of touched) expect(frame(lines[i]!)).toBe(frame(before[i]!));
        const at = path.reduce<unknown>((node, key) => (node as never)[key], parse(after));
        expect(at).toBe(value + 0);
      }),
      { numRuns: 200 },
    );
  });
});
