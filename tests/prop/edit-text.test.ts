import { describe, expect, test } from 'vitest';
import { parse } from 'yaml';
import { applyEdits as applyAll, type Edit, NotAlone } from '../../src/prop/edit-text.ts';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { readText } from '../../src/prop/text.ts';
import fc from '../fast-check.ts';
import { OWL } from './helpers.ts';

const edit = (path: string, value: unknown): Edit => ({
  path: path.split('.').map((key) => (/^\d+$/.test(key) ? Number(key) : key)),
  value,
});

const applyEdits = (text: string, ...edits: Edit[]): string => applyAll(readText(text), edits).text;

describe('splice', () => {
  test.each<[title: string, text: string, edit: Edit, result: string]>([
    ['a value', 'a:   1   # one\nb: 2\n', edit('a', 5), 'a:   5   # one\nb: 2\n'],
    [
      'a value in a flow map',
      'a: {x: 1,y:  2 } # c\n',
      edit('a.y', -0.5),
      'a: {x: 1,y:  -0.5 } # c\n',
    ],
    ['a new element', 'a: [ 1,2 ] # c\n', edit('a.2', 9), 'a: [ 1,2, 9 ] # c\n'],
    ['a new element of an empty list', 'a: [] # c\n', edit('a.0', 9), 'a: [9] # c\n'],
    [
      'a new item of a block list',
      'a:\n  - 1 # one\n  # tail\nb: 2\n',
      edit('a.1', { x: 1 }),
      'a:\n  - 1 # one\n  - { x: 1 }\n  # tail\nb: 2\n',
    ],
    [
      'a long value, in block style',
      'a:\n  x: 1\n...\n',
      edit('a.y', { name: 'N'.repeat(50), list: [{ of: 'M'.repeat(60) }, { of: 'L'.repeat(60) }] }),
      `a:\n  x: 1\n  y:\n    name: ${'N'.repeat(50)}\n    list:\n      - { of: ${'M'.repeat(60)} }\n      - { of: ${'L'.repeat(60)} }\n...\n`,
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
    ['an item of a list', 'a: [1, 2, 3] # c\n', edit('a.1', undefined), 'a: [1, 3] # c\n'],
    ['the first item of a list', 'a: [1, 2]\n', edit('a.0', undefined), 'a: [2]\n'],
    ['the only item of a list', 'a:\n  - 1\nb: 2\n', edit('a.0', undefined), 'a:\n  []\nb: 2\n'],
    [
      'an item beside a comment',
      'a: [\n  1, # one\n  2, # two\n  3 ]\n',
      edit('a.1', undefined),
      'a: [\n  1, # one\n   # two\n  3 ]\n',
    ],
    [
      'an item of a block list: the comment above it stays',
      'a:\n  # these\n  - { x: 1 } # one\n  - x: 2\n    y: 3\n  - 4\n',
      edit('a.1', undefined),
      'a:\n  # these\n  - { x: 1 } # one\n  - 4\n',
    ],
    [
      'a name',
      'a: # of a\n  x: 1 # one\n  # two\n  y: 2\n',
      { path: ['a', 'x'], rename: 'z' },
      'a: # of a\n  z: 1 # one\n  # two\n  y: 2\n',
    ],
    ['a name in quotes', 'a: { "x": 1 }\n', { path: ['a', 'x'], rename: 'z' }, 'a: { "z": 1 }\n'],
    [
      'a name in brackets',
      'a: {x: 1, y: 2}\n',
      { path: ['a', 'y'], rename: 'on_1' },
      'a: {x: 1, on_1: 2}\n',
    ],
    [
      'a name that needs quotes',
      'a: {x: 1}\n',
      { path: ['a', 'x'], rename: 'true' },
      'a: {"true": 1}\n',
    ],
    [
      'a name with an anchor',
      'a: { &k x: 1 }\n',
      { path: ['a', 'x'], rename: 'z' },
      'a: { &k z: 1 }\n',
    ],
    [
      'another place',
      'a:\n  # of x\n  x: 1 # one\n\n  y: 2\n\n  # of z\n  z: 3\nb: 4\n',
      { path: ['a', 'z'], place: 0 },
      'a:\n  # of z\n  z: 3\n  # of x\n  x: 1 # one\n\n  y: 2\n\nb: 4\n',
    ],
    [
      'another place, further down',
      'a:\n  # of x\n  x: 1 # one\n\n  y: 2\n\n  z: 3\n',
      { path: ['a', 'x'], place: 1 },
      'a:\n  y: 2\n\n  # of x\n  x: 1 # one\n\n  z: 3\n',
    ],
    [
      'another place of an item, the last',
      'a:\n  - 1 # one\n  - x: 2\n    y: 3',
      { path: ['a', 0], place: 1 },
      'a:\n  - x: 2\n    y: 3\n  - 1 # one\n',
    ],
    [
      'another place in brackets',
      'a: [ 1,  [2, 3], 4 ]\n',
      { path: ['a', 2], place: 0 },
      'a: [ 4,  1, [2, 3] ]\n',
    ],
  ])('%s', (_, text, change, result) => {
    expect(applyEdits(text, change)).toBe(result);
  });

  test('names are exchanged one after the other', () => {
    const swap: Edit[] = [
      { path: ['a', 'x'], rename: 'spare' },
      { path: ['a', 'y'], rename: 'x' },
      { path: ['a', 'spare'], rename: 'y' },
    ];
    expect(applyEdits('a: { x: 1, y: 2 } # c\n', ...swap)).toBe('a: { y: 1, x: 2 } # c\n');
  });

  test.each<[string, Edit, RegExp]>([
    [
      'a: { x: 1, y: 2 }\n',
      { path: ['a', 'x'], rename: 'y' },
      /^a\.x cannot be called y: there is one already/,
    ],
    [
      'a: { x: 1 }\n',
      { path: ['a', 'z'], rename: 'y' },
      /^a\.z cannot get another name: it is not there/,
    ],
    ['a: [1]\n', { path: ['a', 0], rename: 'y' }, /it is not there/],
    ['a: [1, 2]\n', { path: ['a', 0], place: 2 }, /^a\[0\] cannot go to place 2/],
    [
      'a:\n  x: &v 1\n  y: *v\n',
      { path: ['a', 'x'], place: 1 },
      /cannot be changed alone|is shared/,
    ],
    [
      'a: &m { x: 1 }\nb: *m\n',
      { path: ['b', 'x'], rename: 'z' },
      /^b\.x is shared: \*m \(anchor &m at line 1\)/,
    ],
    [
      'a: &m { x: 1 }\nb: *m\n',
      { path: ['a', 'x'], rename: 'z' },
      /^a\.x is shared: \*m .* is used by b at line 2/,
    ],
  ])('refuses %j %j', (text, change, why) => {
    expect(() => applyEdits(text, change)).toThrow(why);
  });

  test.each([
    ['a: 1\n', edit('a.b', 2)],
    ['a: [1]\n', edit('a.2', 2)],
    ['- - 1\n  - 2\n', edit('0.0', undefined)],
    ['a: |\n  t\nb: 1\n', edit('a', 5)],
  ])('refuses what cannot be changed alone: %j', (text, change) => {
    expect(() => applyEdits(text, change)).toThrow(
      /cannot be changed alone; edit the file by hand/,
    );
  });

  test.each<[text: string, edit: Edit, line: number, why: string]>([
    [
      'a: &x { y: 1 }\nb: *x\n',
      edit('a.y', 2),
      1,
      'a.y is shared: *x (anchor &x at line 1) is used by b at line 2 too',
    ],
    [
      'a: &x { y: 1 }\nb: *x\n',
      edit('b.y', 2),
      2,
      'b.y is shared: *x (anchor &x at line 1) is used by a at line 1 too',
    ],
    [
      'a: &x 1\nb: *x\n',
      edit('a', 2),
      1,
      'a is shared: *x (anchor &x at line 1) is used by b at line 2 too',
    ],
    [
      'a: &x 1\nb: *x\n',
      edit('b', 2),
      2,
      'b is shared: *x (anchor &x at line 1) is used by a at line 1 too',
    ],
    [
      'l:\n  marks: &m\n    up: 1\nr:\n  - x: 1\n  - marks: *m\n# c\ns: { marks: *m }\n',
      edit('s.marks.down', 2),
      8,
      's.marks.down is shared: *m (anchor &m at line 2) is used by r[1].marks at line 6 too',
    ],
    // An anchor that is given again stands for the later value from there on.
    [
      'a: &x 1\nb: *x\nc: &x 2\nd: *x\n',
      edit('d', 3),
      4,
      'd is shared: *x (anchor &x at line 3) is used by c at line 3 too',
    ],
  ])('names who shares a place: %j', (text, change, line, why) => {
    let refused: unknown;
    try {
      applyEdits(text, change);
    } catch (error) {
      refused = error;
    }
    expect(refused).toBeInstanceOf(NotAlone);
    expect(refused).toBeInstanceOf(RangeError);
    expect(refused).toMatchObject({
      line,
      path: change.path,
      message: `${why}; write the values out in one of them`,
    });
  });

  test('a value beside an alias can be edited', () => {
    const text = 'a: &x { y: 1 }\nb: { c: *x, d: 2 }\n';
    expect(applyEdits(text, edit('b.d', 3))).toBe('a: &x { y: 1 }\nb: { c: *x, d: 3 }\n');
    // One that replaces the alias as a whole is not guessed at, nor one that nobody else uses feared.
    expect(applyEdits('a: &x 1\nb: 2\n', edit('a', 2))).toBe('a: &x 2\nb: 2\n');
  });

  test('several additions at one place come one after the other', () => {
    expect(applyEdits('a:\n  x: 1 # one\nb: 2\n', edit('a.y', 2), edit('a.z', 3))).toBe(
      'a:\n  x: 1 # one\n  y: 2\n  z: 3\nb: 2\n',
    );
    expect(applyEdits('a:\n  - 1\n', edit('a.1', 2), edit('a.2', 3))).toBe(
      'a:\n  - 1\n  - 2\n  - 3\n',
    );
    expect(applyEdits('a: [1]\n', edit('a.1', 2), edit('a.2', 3))).toBe('a: [1, 2, 3]\n');
    expect(applyEdits('b: 1\n', edit('a.x', 2), edit('a.y', 3))).toBe('b: 1\na: { x: 2, y: 3 }\n');
  });

  test('several edits are made in their order, be they far apart or in each other’s way', () => {
    const text = 'a: { x: 1 } # one\nb:\n  y: 2\n  z: 3\n';
    expect(applyEdits(text, edit('a.x', 5), edit('b.z', 7))).toBe(
      'a: { x: 5 } # one\nb:\n  y: 2\n  z: 7\n',
    );
    // Two new keys in one place, a key in a map that is new itself, one that goes again.
    expect(applyEdits(text, edit('a.p', 1), edit('a.q', 2))).toBe(
      'a: { x: 1, p: 1, q: 2 } # one\nb:\n  y: 2\n  z: 3\n',
    );
    expect(applyEdits(text, edit('c', {}), edit('c.d', 1))).toBe(`${text}c: { d: 1 }\n`);
    expect(applyEdits(text, edit('a.x', 4), edit('a.x', 1))).toBe(text);
    expect(applyEdits(text, edit('b.y', undefined), edit('b.z', undefined))).toBe(
      'a: { x: 1 } # one\nb:\n  {}\n',
    );
  });

  test('several edits lead to the same data as each after the other', () => {
    const source = readText(OWL);
    const marks = ['beak', 'lid_left', 'head_turn', 'wing_left'].flatMap((name) =>
      ['shut', 'open', 'new_mark', 'other'].map((mark) => `channels.${name}.marks.${mark}`),
    );
    const change = fc.tuple(fc.constantFrom(...marks), fc.option(fc.integer({ min: 0, max: 30 })));
    fc.assert(
      fc.property(fc.array(change, { minLength: 1, maxLength: 4 }), (changes) => {
        const edits = changes.map(([path, value]) => edit(path, value ?? undefined));
        const together = applyAll(source, edits);
        const apart = edits.reduce((text, one) => applyAll(text, [one]), source);
        expect(together.raw).toEqual(apart.raw);
        expect(readText(together.text).raw).toEqual(apart.raw);
      }),
      { numRuns: 60 },
    );
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
    const source = readText(OWL);
    const number = fc.double({ noNaN: true, noDefaultInfinity: true });
    fc.assert(
      fc.property(fc.constantFrom(...paths), number, (path, value) => {
        const after = applyAll(source, [{ path, value }]).text;
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

describe('editProp', () => {
  test('gives what reading the new text gives', () => {
    const loaded = parseProp(OWL, 'owl.yaml');
    for (const [path, value] of [
      ['channels.beak.marks.open', 31],
      ['channels.beak.marks.open', 400], // outside the limits: a finding
      ['channels.beak.limitsDeg', undefined],
    ] as const) {
      const edited = editProp(loaded, [edit(path, value)]);
      const { findings, prop, raw, text } = parseProp(edited.text, 'owl.yaml');
      expect(text).not.toBe(OWL);
      expect({ ...edited, source: undefined }).toEqual({
        file: 'owl.yaml',
        text,
        source: undefined,
        raw,
        prop,
        findings,
      });
    }
    expect(editProp(loaded, [edit('channels.beak.marks.open', 30)])).toBe(loaded);
  });

  test('a file with errors in its YAML is not edited', () => {
    expect(() => editProp(parseProp('a: [', 'f'), [edit('a', 1)])).toThrow(RangeError);
  });
});
