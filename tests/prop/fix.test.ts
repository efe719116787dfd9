import { describe, expect, test } from 'vitest';
import { findingInfos } from '../../src/prop/finding-info.ts';
import { fixed } from '../../src/prop/fix.ts';
import { difference } from '../../src/prop/line-difference.ts';
import { parseProp } from '../../src/prop/load.ts';
import { OWL, propText, relay, servo } from './helpers.ts';

const LAMP = '{ kind: lamp, output: { board: head, pin: 12 } }';

/** The lines that differ, without their numbers. */
function lines(text: string): { changed: string[]; left: string[] } {
  const { text: next, left } = fixed(text, 'f.yaml');
  const changed = difference(text, next).filter((line) => !line.startsWith('@@'));
  return { changed, left: left.map(({ wrong }) => wrong) };
}

describe('one sure remedy', () => {
  test.each([
    [
      'a space, in lines',
      'lan:\n    kind:lamp\n    output: { board: head, pin: 12 }',
      '    kind: lamp',
    ],
    [
      'a space, in braces',
      'lan: { kind:lamp, output: { board: head, pin:12 } }',
      '  lan: { kind: lamp, output: { board: head, pin: 12 } }',
    ],
    [
      'a comma, in braces',
      `lan: ${LAMP.replace(' }', ' }, fadeS: 0,5').replace('fadeS: 0,5 }', 'fadeS: 0,5 }')}`,
      '  lan: { kind: lamp, output: { board: head, pin: 12 }, fadeS: 0.5 }',
    ],
    [
      'a comma, in lines',
      'lan:\n    kind: lamp\n    output: { board: head, pin: 12 }\n    fadeS: 0,5 # slow',
      '    fadeS: 0.5 # slow',
    ],
    [
      'a unit',
      'lan:\n    kind: lamp\n    output: { board: head, pin: 12 }\n    fadeS: 300 ms',
      '    fadeS: 0.3',
    ],
    [
      'a percentage',
      'lan:\n    kind: lamp\n    output: { board: head, pin: 12 }\n    park: { to: 60% }',
      '    park: { to: 0.6 }',
    ],
    ['limits the wrong way round', `a: ${servo(18, { limitsDeg: '[30, -5]' })}`, undefined],
    [
      'pairs the wrong way round',
      `a: ${servo(18, { calibration: '[[-45, 1000], [45, 2000]]' })}`,
      undefined,
    ],
    ['a word for on', `a: ${relay(17, { park: '{ to: Off }' })}`, undefined],
  ])('%s', (_what, channel, line) => {
    const { changed, left } = lines(propText(channel));
    expect(left).toEqual([]);
    expect(changed.length).toBeGreaterThan(0);
    if (line !== undefined) expect(changed.at(-1)).toBe(`+ ${line}`);
  });

  test('values come out as they were meant', () => {
    const { text } = fixed(
      propText(
        `a: ${servo(18, { calibration: '[[-45, 1000], [45, 2000]]', limitsDeg: '[30, -5]' })}`,
      ),
      'f',
    );
    expect(parseProp(text, 'f').prop!.channels.a).toMatchObject({
      calibration: [
        [1000, -45],
        [2000, 45],
      ],
      limitsDeg: [-5, 30],
    });
  });

  test('several at once, a name twice in a group, and comments stay', () => {
    const text = propText(
      `# keep me\n  a: ${servo(18, { limitsDeg: '[30,-5]' })} # and me\n  b: ${servo(17)}\n  lan: { kind:lamp, output: { board: head, pin: 12 } }`,
      'groups: { g: [a, b, a] }\ncues: { w: [{ at: 0, dim: { lan: 60% } }] }',
    );
    const { text: next, left, done } = fixed(text, 'f');
    expect(left).toEqual([]);
    expect(done).toHaveLength(4);
    expect(next).toContain('# keep me');
    expect(next).toContain('# and me');
    expect(parseProp(next, 'f').prop!.groups).toEqual({ g: ['a', 'b'] });
  });
});

describe('nothing is done where it is not sure', () => {
  test.each([
    [`lan: ${LAMP}`, 'cues: { w: [{ at: 0, dim: { lan: 60 } }] }'],
    [`a: ${servo(18, { draw: '{ movingA: 250, stallA: 900 }' })}`, ''],
    [`a: ${servo(18, { sped: '3' })}`, ''],
    [`a: ${servo(18, { limitsDeg: '[5, 5]' })}`, ''],
    ['lan:\n\tkind: lamp', ''],
    [`a: &x ${servo(18)}\n  b: { <<: *x, output: { board: head, pin: 17 } }`, ''],
  ])('%s', (channels, rest) => {
    const text = propText(channels, rest);
    const { text: next, done, left } = fixed(text, 'f');
    expect(done).toEqual([]);
    expect(next).toBe(text);
    expect(left.length).toBeGreaterThan(0);
  });

  test('a sound file stays as it is', () => {
    expect(fixed(OWL, 'f')).toMatchObject({ text: OWL, done: [], left: [] });
  });

  test('a value of a part is not in the file, so that it is not mended there', () => {
    const { findings } = parseProp(
      propText(`a: ${servo(18, { part: 'servo-9g', draw: '{ movingA: 5 }' })}`),
      'f',
    );
    expect(findings.length).toBeGreaterThan(0);
    expect(findings.every(({ fix }) => fix === undefined)).toBe(true);
  });
});

test('the difference shows lines that were added or taken, too', () => {
  expect(difference('a\nb\nc', 'a\nx\nc')).toEqual(['@@ line 2', '- b', '+ x']);
  expect(difference('a\nb\nc', 'a\nc')).toEqual(['@@ line 2', '- b']);
  expect(difference('a', 'a')).toEqual([]);
});

test('hundreds of remedies take one check of the file more, not hundreds', () => {
  const groups = Array.from({ length: 300 }, (_, i) => `g${i}: [a, b, a]`).join(', ');
  const { done, left } = fixed(
    propText(`a: ${servo(18)}\n  b: ${servo(17)}`, `groups: { ${groups} }`),
    'f',
  );
  expect(done).toHaveLength(300);
  expect(left).toEqual([]);
});

test('the API has it as an edit', () => {
  const { findings } = parseProp(propText(`a: ${servo(18, { limitsDeg: '[30, -5]' })}`), 'f');
  expect(findingInfos(findings)).toMatchObject([
    { remedy: { path: ['channels', 'a', 'limitsDeg'], value: [-5, 30] } },
  ]);
});
