import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { isNode, parseDocument, visit } from 'yaml';
import { applyEdits, type Edit } from '../../src/prop/edit-text.ts';
import { applyEntryEdits } from '../../src/prop/entries.ts';
import { checkProp, editProp, type Loaded, parseProp } from '../../src/prop/load.ts';
import { readText } from '../../src/prop/text.ts';
import { largePropText } from '../bench/large-prop.ts';
import fc from '../fast-check.ts';

const CONFIG = new URL('../../config/', import.meta.url);
const TEXTS: [name: string, text: string][] = [
  ...readdirSync(CONFIG)
    .filter((name) => name.endsWith('.yaml') && name !== 'show.yaml')
    .map((name): [string, string] => [name, readFileSync(new URL(name, CONFIG), 'utf8')]),
  ['large.yaml', largePropText()],
];

/** The present text read and checked as a whole, nothing remembered: what all short ways must equal. */
const afresh = (loaded: Loaded, edits: readonly Edit[]) => {
  const source = readText(loaded.text);
  try {
    return checkProp(applyEdits(source, edits), loaded.file);
  } catch (error) {
    if (error instanceof RangeError) return error;
    throw error;
  }
};
const shortly = (loaded: Loaded, edits: readonly Edit[]) => {
  try {
    return editProp(loaded, edits);
  } catch (error) {
    if (error instanceof RangeError) return error;
    throw error;
  }
};

/** Everything of a result that others see; as text, so that the order of keys counts. */
const seen = (result: Loaded | RangeError) =>
  result instanceof Error
    ? String(result)
    : JSON.stringify([result.text, result.raw, result.prop, result.findings]);

/** Every place within the three sections, and some that are not there. */
function placesOf(raw: unknown): Edit['path'][] {
  const places: Edit['path'][] = [['channels'], ['name'], ['channels', 'new_one']];
  const walk = (value: unknown, path: Edit['path']): void => {
    if (path.length > 1) places.push(path);
    if (Array.isArray(value)) for (const [i, item] of value.entries()) walk(item, [...path, i]);
    else if (typeof value === 'object' && value !== null) {
      for (const [key, item] of Object.entries(value)) walk(item, [...path, key]);
      if (path.length > 1) places.push([...path, 'new_key'], [...path, 'newer', 'still']);
    }
  };
  for (const section of ['channels', 'cues', 'poses', 'groups'])
    walk((raw as Record<string, unknown>)[section], [section]);
  return places;
}

const values = fc.oneof(
  { weight: 6, arbitrary: fc.integer({ min: -10, max: 60 }) },
  { weight: 2, arbitrary: fc.constantFrom('open', 'on', '#102030', 'a: b # c', 'x\ny', '') },
  fc.double({ noDefaultInfinity: true, noNaN: true }),
  fc.constant(undefined),
  fc.constantFrom(null, true, [], {}, [1, 2], { to: 0 }, { a: { b: [1, 'c'] } }),
);

/** Edits of one entry mostly, as captures are; `placesOf` gives what there is. */
const editsOf = (places: Edit['path'][]) =>
  fc.oneof(
    {
      weight: 4,
      arbitrary: fc
        .constantFrom(...places)
        .chain((one) =>
          fc.array(
            fc.tuple(
              fc.constantFrom(...places.filter((p) => p[0] === one[0] && p[1] === one[1])),
              values,
            ),
            { minLength: 1, maxLength: 3 },
          ),
        ),
    },
    {
      weight: 1,
      arbitrary: fc.array(fc.tuple(fc.constantFrom(...places), values), {
        minLength: 1,
        maxLength: 3,
      }),
    },
  );

describe('edits of entries', () => {
  for (const [name, text] of TEXTS) {
    test(`${name}: edits one after another give what the whole text gives when read afresh`, () => {
      const first = parseProp(text, name);
      const places = placesOf(first.raw);
      const large = text.length > 30_000;
      let short = 0;
      fc.assert(
        fc.property(fc.array(editsOf(places), { minLength: 1, maxLength: 4 }), (steps) => {
          let loaded = first;
          for (const step of steps) {
            const edits = step.map(([path, value]) => ({ path, value }));
            if (loaded.prop && applyEntryEdits(loaded.source!, edits)) short++;
            const result = shortly(loaded, edits);
            expect(seen(result)).toBe(seen(afresh(loaded, edits)));
            // As in the service: only what is sound is kept.
            if (!(result instanceof Error) && result.prop) loaded = result;
          }
        }),
        { numRuns: large ? 6 : 20 },
      );
      expect(short).toBeGreaterThan(0);
    });
  }

  test('sequences of captures take the short way and keep every place exact', () => {
    for (const [name, text] of TEXTS) {
      const servos = Object.entries(parseProp(text, name).prop!.channels).flatMap(([one, spec]) =>
        spec.kind === 'servo' ? [one] : [],
      );
      if (servos.length === 0) continue;
      const capture = fc.tuple(
        fc.constantFrom(...servos),
        fc.constantFrom('open', 'shut', 'longer_name', 'down'),
        fc.integer({ min: -90, max: 90 }),
      );
      fc.assert(
        fc.property(fc.array(capture, { minLength: 2, maxLength: 6 }), (captures) => {
          let loaded = parseProp(text, name);
          for (const [servo, mark, deg] of captures) {
            const edits = [{ path: ['channels', servo, 'marks', mark], value: deg }];
            const result = editProp(loaded, edits);
            const { findings, raw, prop } = parseProp(result.text, name);
            expect(seen({ ...result, findings, raw, prop })).toBe(seen(result));
            if (result.prop) loaded = result;
          }
        }),
        { numRuns: text.length > 30_000 ? 3 : 8 },
      );
    }
  });

  test.each([
    ['an alias anywhere', 'channels:\n  a: &x { b: 1 }\n  c: { b: 1 }\nposes: { p: *x }\n'],
    ['an anchor in the entry', 'channels:\n  a: { b: &x 1 }\n  c: 1\n'],
    ['a tag in the entry', 'channels:\n  a: { b: !!int 1 }\n  c: 1\n'],
    ['flow style', 'channels: { a: { b: 1 },\n  c: 1 }\n'],
    ['an explicit key', 'channels:\n  ? a\n  : { b: 1 }\n  c: 1\n'],
    ['an end mark behind the last entry', 'x: 1\nchannels:\n  a: { b: 1 }\n...\n'],
    ['a byte order mark', '\uFEFFchannels:\n  a: { b: 1 }\n'],
  ])('%s: the whole text is read', (_, text) => {
    const source = readText(text);
    const edits = [{ path: ['channels', 'a', 'b'], value: 2 }];
    expect(applyEntryEdits(source, edits)).toBeUndefined();
  });

  test('block scalars, line folding, CRLF and odd comments stay with their entry', () => {
    const texts = [
      'channels:\n  a:\n    b: 1\n    t: |+\n      x\n\n\n  # c\n  c:\n    b: 1\n# d\nposes:\n  p: { a: 1 }\n',
      'channels:\n    a:\n      b: 1\n      t: one\n        two\n    # e\n# f\n    c: { b: 1 }\n\nlast: 1',
      'channels:\r\n  a:\r\n    b: 1\r\n  "c": # g\r\n    b: "x\r\n      y"\r\n',
      "channels:\n  a: { b: 1,\n    t: [ 'x',\n      y ] }\n  c:\n    b:\n",
      'channels:\n  a:\n    b: 1\n  c:\n    b: >-\n      folded\n      text',
    ];
    for (const text of texts) {
      for (const path of [
        ['channels', 'a', 'b'],
        ['channels', 'c', 'b'],
        ['channels', 'c', 'd'],
        ['channels', 'e', 'f'],
      ]) {
        const source = readText(text);
        const edits: Edit[] = [{ path, value: 'new text' }];
        const long = applyEdits(source, edits);
        const short = applyEntryEdits(source, edits);
        expect(short, `${JSON.stringify(text)} ${path}`).toBeDefined();
        expect(short!.source.text).toBe(long.text);
        expect(JSON.stringify(short!.source.raw)).toBe(JSON.stringify(long.raw));
        const paths: Edit['path'][] = [path, ['channels'], ['poses', 'p', 'a'], ['last'], ['no']];
        for (const at of [...paths, ['channels', 'a'], ['channels', 'c', 'b'], []]) {
          for (const atKey of [false, true])
            expect(short!.source.offset(at, atKey)).toBe(long.offset(at, atKey));
        }
      }
    }
  });

  test('what did not change is the same object, in the data and in the prop', () => {
    const before = parseProp(largePropText(), 'large.yaml');
    const after = editProp(before, [
      { path: ['channels', 'feather_7', 'marks', 'half'], value: 17 },
    ]);
    const [was, is] = [before.prop!, after.prop!];
    expect(is.channels.feather_7).not.toBe(was.channels.feather_7);
    expect(is.channels.feather_7!.wire).toBe(was.channels.feather_7!.wire);
    expect(is.channels.feather_8).toBe(was.channels.feather_8);
    expect(is.cues).toBe(was.cues);
    expect(is.wires).toBe(was.wires);
    const parts = (one: Loaded) => (one.raw as { channels: Record<string, unknown> }).channels;
    expect(parts(after).feather_8).toBe(parts(before).feather_8);
  });

  test('the texts have entries in block style that can be edited by themselves', () => {
    // Else the comparisons above would compare the long way with itself.
    for (const [, text] of TEXTS) {
      let anchors = 0;
      visit(parseDocument(text), {
        Node: (_, node) => void (isNode(node) && node.anchor && anchors++),
      });
      expect(anchors).toBe(0);
    }
  });
});
