import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { OWL, propText } from './helpers.ts';

describe('any text', () => {
  /** Every finding has a place in the text and two sentences. */
  function check(text: string): void {
    const { findings, prop } = parseProp(text, 'f.yaml');
    const lines = text.split('\n');
    for (const { line, column, path, wrong, right } of findings) {
      expect(line).toBeGreaterThanOrEqual(1);
      expect(line).toBeLessThanOrEqual(lines.length);
      expect(column).toBeGreaterThanOrEqual(1);
      expect(column).toBeLessThanOrEqual(lines[line - 1]!.length + 1);
      expect([path, wrong, right].every((part) => part.length > 0)).toBe(true);
      // biome-ignore lint/suspicious/noControlCharactersInRegex: none may reach a terminal
      expect(path + wrong + right).not.toMatch(/[\0-\x1F\x7F]/);
    }
    expect(prop === undefined).toBe(findings.some(({ severity }) => severity === 'error'));
  }

  test('never throws', () => {
    fc.assert(fc.property(fc.string({ unit: 'binary', maxLength: 200 }), check), { numRuns: 2000 });
    const yamlish = fc.string({
      unit: fc.constantFrom(...'abz01:-?,[]{}#&*!|>\'"%@` \n\t.~<='.split(''), '\r\n', '__proto__'),
      maxLength: 60,
    });
    fc.assert(fc.property(yamlish, check), { numRuns: 5000 });
  });

  test('never throws on a damaged demo prop', () => {
    const piece = fc.constantFrom(
      '',
      ' ',
      '\n',
      ':',
      '{',
      '}',
      '[',
      ']',
      '- ',
      '#',
      '"',
      '&a ',
      '*a',
      'null',
      '.nan',
      '-1',
      '1e308',
      'true',
      '{}',
      '[]',
      'beak',
      'sinew',
      '__proto__: ',
      'x: 1\n',
      '\t',
      '\uFEFF',
    );
    const damage = fc.tuple(fc.nat(OWL.length), fc.nat(40), piece);
    fc.assert(
      fc.property(fc.array(damage, { minLength: 1, maxLength: 4 }), (damages) => {
        let text = OWL;
        for (const [at, length, put] of damages)
          text = text.slice(0, at) + put + text.slice(at + length);
        check(text);
      }),
      { numRuns: 300 },
    );
  });

  test('never throws on sound YAML with any value in place of another', () => {
    const tokens = [...OWL.matchAll(/[\w.]+(?=[,\]} \n])/g)];
    const value = fc.oneof(
      fc.constantFrom(
        'null',
        '.nan',
        '-.inf',
        'true',
        'on',
        '{}',
        '[]',
        '[[]]',
        '{ a: 1 }',
        '0',
        '-1',
      ),
      fc.double().map((x) => (Number.isFinite(x) ? String(x) : '.inf')),
      fc.string({ maxLength: 8 }).map((text) => JSON.stringify(text)),
      fc.constantFrom(...tokens.map(([word]) => word)),
    );
    const swap = fc.tuple(fc.constantFrom(...tokens), value);
    fc.assert(
      fc.property(fc.array(swap, { minLength: 1, maxLength: 5 }), (swaps) => {
        let text = OWL;
        for (const [token, put] of swaps.sort(([a], [b]) => b.index - a.index))
          text = text.slice(0, token.index) + put + text.slice(token.index + token[0].length);
        check(text);
      }),
      { numRuns: 300 },
    );
  });

  test('large files are read in time that grows with their size alone', () => {
    // Each would take minutes with a search through all earlier keys, names or findings.
    const keys = Array.from({ length: 60_000 }, (_, i) => `k${i}: 1`).join('\n');
    const channels = Array.from({ length: 12_000 }, (_, i) => `  c${i}: ${'{ kind: servo }'}`);
    const chain = Array.from(
      { length: 3000 },
      (_, i) =>
        `  c${i}: { kind: lamp, output: { board: head, pin: 4 }, requires: [{ channel: c${i + 1}, is: on }] }`,
    );
    for (const text of [
      keys,
      propText(channels.join('\n').slice(2)),
      propText(chain.join('\n').slice(2)),
    ])
      expect(parseProp(text, 'f').findings.length).toBeGreaterThan(2000);
  }, 60_000);
});
