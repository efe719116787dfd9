import { describe, expect, test } from 'vitest';
import { parseProp } from '../../src/prop/load.ts';
import { parseTake } from '../../src/prop/take/take-text.ts';
import fc from '../fast-check.ts';
import { OWL, propText, relay, servo } from './helpers.ts';

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

  test('names out of the file write nowhere else on a terminal', () => {
    const damaged = OWL.replace('role: return', 'role: "re\\tn"');
    expect(damaged).not.toBe(OWL);
    const { findings } = parseProp(damaged, 'f.yaml');
    expect(findings.map(({ wrong }) => wrong).join()).toContain('re\ufffdn');
    check(damaged);
  });

  test('never throws on a damaged demo prop', () => {
    const excerpt = fc.constantFrom(
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
    const damage = fc.tuple(fc.nat(OWL.length), fc.nat(40), excerpt);
    fc.assert(
      fc.property(fc.array(damage, { minLength: 1, maxLength: 4 }), (damages) => {
        let text = OWL;
        for (const [at, length, put] of damages)
          text = text.slice(0, at) + put + text.slice(at + length);
        check(text);
      }),
      { numRuns: 200 },
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
      { numRuns: 200 },
    );
  });

  test('never throws on any cues, idle behaviour and triggers', () => {
    const maybe = <T>(of: fc.Arbitrary<T>) => fc.option(of, { nil: undefined, freq: 2 });
    const cue = fc.constantFrom('c0', 'c1', 'c2', 'c3', 'nobody', '__proto__', 'toString');
    const step = fc.constantFrom('one', 'two', 'three');
    const seconds = fc.constantFrom(0, 0.1, 1, 1e-300, 1e300, -1, 'x', null);
    const channel = fc.constantFrom('a', 'b', 'r', 'e', 'l', 'g', 'nobody', 'constructor');
    const deg = fc.oneof(
      fc.constantFrom(0, 30, 1e308, -1e308, 'up', 'toString', 'on', 'red', null),
      fc.record({ around: fc.constantFrom(0, 1e308), spread: fc.constantFrom(0, 5, 1e308) }),
    );
    const values = maybe(fc.dictionary(channel, deg, { maxKeys: 3 }));
    const steps = fc.array(
      fc.record({
        name: maybe(step),
        at: maybe(seconds),
        after: maybe(step),
        spreadS: maybe(seconds),
        move: values,
        colour: values,
        dim: values,
        switch: values,
        pose: maybe(fc.constantFrom('p', 'q')),
        overS: maybe(seconds),
        fadeS: maybe(seconds),
        forS: maybe(seconds),
        ease: maybe(fc.constantFrom('ease', 'steps(2)', 'cubic-bezier(0, 99, 0, -99)', 'no')),
        until: maybe(fc.record({ channel, above: deg, withinS: seconds })),
        cue: maybe(cue),
        choose: maybe(fc.array(cue, { maxLength: 3 })),
        times: maybe(fc.constantFrom(1, 10_000, 'until stopped', 0)),
      }),
      { maxLength: 4 },
    );
    const form = fc.oneof(steps, fc.record({ clash: maybe(fc.constant('take over')), steps }));
    const rest = fc.record({
      poses: fc.constant({ p: { a: 'up', l: 1, r: 'on', e: 'red' } }),
      groups: fc.constant({ g: ['a', 'b', 'r'] }),
      rails: fc.constant({ x: { volts: 6, limitA: 1 } }),
      cues: fc.record({ c0: form, c1: form, c2: form, c3: form }),
      idle: maybe(
        fc.record({
          i: fc.record({ plays: fc.array(fc.record({ cue, everyS: fc.tuple(seconds, seconds) })) }),
        }),
      ),
      triggers: maybe(
        fc.dictionary(
          step,
          fc.record({
            cue,
            osc: maybe(fc.constant('/a')),
            start: maybe(fc.constant(true)),
            unattended: maybe(fc.boolean()),
          }),
        ),
      ),
    });
    const more = { rail: 'x', draw: '{ movingA: 0.8 }', marks: '{ up: 30 }' };
    const channels = `a: ${servo(4, more)}
  b: ${servo(5, { ...more, jerkDegS3: '1000' })}
  r: ${relay(7, { rail: 'x', draw: '{ onA: 0.5 }' })}
  e: { kind: rgb, output: { board: head, pins: [16, 6, 9] }, rail: x, draw: { fullA: [1, 1, 1] } }
  l: { kind: lamp, output: { board: head, pin: 12 } }`;
    fc.assert(
      fc.property(rest, (parts) => {
        const lines = Object.entries(parts)
          .filter(([, part]) => part !== undefined)
          .map(([section, part]) => `${section}: ${JSON.stringify(part)}`);
        check(propText(channels, lines.join('\n')));
      }),
      { numRuns: 600 },
    );
  }, 60_000);

  test('long lines and words are read in time that grows with their size alone', () => {
    // By the square of its size, each would take minutes.
    const many = 1_000_000;
    for (const text of ['\r'.repeat(many), `a: [${'\r'.repeat(many)}`, `a: [${' '.repeat(many)}`])
      expect(parseProp(text, 'f').findings.length).toBeGreaterThan(0);
    const digits = `sinew take 1\nservo beak\n0 ${'1'.repeat(many)}x\n`;
    expect(parseTake(digits, 'f').findings.length).toBeGreaterThan(0);
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
    // Each cue runs the next two, a thousand times.
    const cues = Array.from(
      { length: 3000 },
      (_, i) =>
        `  c${i}: [{ at: 0, cue: c${i + 1}, times: 1000 }, { at: 1, cue: c${i + 2}, times: 1000 }]`,
    );
    const nested = `${propText('a: { kind: servo }')}\ncues:\n${cues.join('\n')}`;
    // Short chains, so that the cues can be planned.
    const planned = `${propText(`a: ${servo(4)}`)}\ncues:\n${cues
      .map((cue, i) => (i % 8 < 6 ? cue : `  c${i}: [{ at: 0, move: { a: 1 }, overS: 0.001 }]`))
      .join('\n')}`;
    for (const text of [nested, planned])
      expect(parseProp(text, 'f').findings.length).toBeGreaterThan(0);
    for (const text of [
      keys,
      propText(channels.join('\n').slice(2)),
      propText(chain.join('\n').slice(2)),
    ])
      expect(parseProp(text, 'f').findings.length).toBeGreaterThan(2000);
  }, 60_000);
});
