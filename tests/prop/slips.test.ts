import { describe, expect, test } from 'vitest';
import { editProp, parseProp } from '../../src/prop/load.ts';
import { numberSlip, percentOf } from '../../src/prop/slips.ts';
import { expectFindings, propText, relay, servo } from './helpers.ts';

/** Slips of the hand: one finding each, with what to write, and nothing that follows from it. */

const LAMP = '{ kind: lamp, output: { board: head, pin: 12 } }';
const WIRE = (length: string) =>
  `{ label: W1, gaugeAwg: 24, lengthM: ${length}, cores: [{ role: signal, colour: YE, from: J1-12, to: S1-1 }, { role: plus, colour: RD, from: T1-2, to: S1-2 }, { role: return, colour: BK, from: T1-7, to: S1-3 }] }`;
const RAIL = 'rails: { r6: { volts: 6, limitA: 5 } }';

describe('no space after a colon', () => {
  const wrong = 'a space is missing after the colon';
  test('in braces', () => {
    expectFindings(propText('lan: { »kind:lamp, output: { board: head, pin: 12 } }'), [
      { path: 'channels.lan.kind', wrong, right: 'write kind: lamp' },
    ]);
    expectFindings(propText(`a: ${servo(18)}`.replace('pin: 18', '»pin:18')), [
      { path: 'channels.a.output.pin', wrong, right: 'write pin: 18' },
    ]);
  });

  test.each([
    ['lan:\n    »kind:lamp\n    output: { board: head, pin: 12 }', 'write kind: lamp'],
    [
      'lan:\n    kind: lamp\n    »fadeS:0.5\n    output: { board: head, pin: 12 }',
      'write fadeS: 0.5',
    ],
    [
      'lan:\n    kind: lamp\n    output: { board: head, pin: 12 }\n    »fadeS:0.5',
      'write fadeS: 0.5',
    ],
  ])('in lines: %s', (channel, right) => {
    expectFindings(propText(channel), [{ wrong, right }]);
  });

  test('what else is wrong is told at its own place', () => {
    expectFindings(
      propText('lan:\n    »kind:lamp\n    output: { board: head, pin: »99 }\n    »fadeS:»-1'),
      [
        { wrong },
        { path: 'channels.lan.output.pin', wrong: '99' },
        { wrong },
        { wrong: 'negative' },
      ],
    );
  });

  test('a text that is mended in mind alone is never edited', () => {
    const text = propText('lan: { kind:lamp, output: { board: head, pin: 12 } }');
    const edit = [{ path: ['name'], value: 'Other' }];
    expect(() => editProp(parseProp(text, 'f'), edit)).toThrow(/fix them first/);
    const lines = propText('lan:\n    kind:lamp\n    output: { board: head, pin: 12 }');
    expect(() => editProp(parseProp(lines, 'f'), edit)).toThrow(/fix them first/);
  });
});

test('merge keys are one finding, whatever they bring', () => {
  expectFindings(
    propText(`a: &base ${servo(4)}\n  b: { »<<: *base, output: { board: head, pin: 5 } }`),
    [{ path: 'channels.b."<<"', wrong: 'merge keys', right: 'write the keys out' }],
  );
  expectFindings(
    propText(`a: &base ${servo(4)}\n  b:\n    »<<: [*base]\n    output: { board: head, pin: 5 }`),
    [{ wrong: 'merge keys' }],
  );
});

test('merge keys that multiply do no harm', () => {
  const rows = ['x0: &x0 { a: 1 }'];
  for (let i = 1; i < 40; i++)
    rows.push(`x${i}: &x${i} { p: { <<: *x${i - 1} }, q: { <<: *x${i - 1} } }`);
  const { findings } = parseProp(rows.join('\n'), 'f.yaml');
  expect(findings.length).toBeGreaterThan(0);
});

describe('a decimal comma', () => {
  test.each([
    [`a: ${servo(4, { stallNm: '»0,9' })}`, 'stallNm', 'write 0.9'],
    [`a: ${servo(4, { draw: '{ movingA: »0,25, stallA: 1 }' })}`, 'draw.movingA', 'write 0.25'],
    [`a: ${servo(4, { draw: '{ stallA: »0,05 }' })}`, 'draw.stallA', 'write 0.05'],
    [
      'a:\n    kind: lamp\n    output: { board: head, pin: 12 }\n    fadeS: »0,5',
      'fadeS',
      'write 0.5',
    ],
  ])('%s', (channel, path, right) => {
    expectFindings(propText(channel), [{ path: `channels.a.${path}`, wrong: 'comma', right }]);
  });
  test('a list of two whole numbers is none', () => {
    expectFindings(propText(`a: ${servo(4, { limitsDeg: '[0,9]' })}`), []);
  });
});

describe('units', () => {
  test.each([
    ['250mA', 'movingA', '0.25'],
    ['0,25 A', 'movingA', '0.25'],
    ['90 cm', 'lengthM', '0.9'],
    ['90mm', 'lengthM', '0.09'],
    ['300 ms', 'fadeS', '0.3'],
    ['6V', 'volts', '6'],
    ['120 deg/s', 'speedDegS', '120'],
    ['4.7k', 'resistorOhm', '4700'],
  ])('%s for %s', (text, key, meant) => {
    expect(numberSlip(text, key)?.[1]).toBe(`write ${meant}`);
  });
  test('other texts are none', () => {
    for (const text of ['open', '', 'a1', '#000000', '1,2,3', '.5.'])
      expect(numberSlip(text, 'fadeS')).toBeUndefined();
    expect(numberSlip('3 apples', 'fadeS')?.[1]).toBe('write the number alone, without its unit');
  });
  test('percentages of a level', () => {
    expect(percentOf('60%')).toBe(0.6);
    expect(percentOf('12,5 %')).toBe(0.125);
    expect(percentOf(60)).toBe(0.6);
    for (const value of [1.5, 101, '150%', 'half', 0.6]) expect(percentOf(value)).toBeUndefined();
    const sixty = { wrong: '60', right: 'write 0.6 for 60 %' };
    expectFindings(
      propText('lan: { kind: lamp, output: { board: head, pin: 12 }, park: { to: »60% } }'),
      [sixty],
    );
    expectFindings(
      propText(
        `lan: ${LAMP}`,
        'cues: { w: [{ at: 0, dim: { lan: »60% } }, { at: 1, dim: { lan: »60 } }] }\nposes: { p: { lan: »60% } }',
      ),
      [sixty, sixty, sixty],
    );
  });
  test('metres', () => {
    expectFindings(propText(`a: ${servo(18, { wire: WIRE('»90') })}`), [
      {
        severity: 'warning',
        wrong: '90 m',
        right: 'did you mean 0.9 (90 cm) or 0.09 (90 mm)?'.replace(/[()?]/g, '.'),
      },
    ]);
    expectFindings(propText(`a: ${servo(18, { wire: WIRE('2.5') })}`), []);
  });
  test('milliamperes: an error where the rail could never give it, nothing else about it', () => {
    const right = 'write movingA: 0.25, stallA: 0.9';
    const draw = '»{ movingA: 250, stallA: 900 }';
    expectFindings(
      propText(
        `a: ${servo(9, { rail: 'r6', draw })}`,
        `${RAIL}\ncues: { w: [{ at: 0, move: { a: 10 } }] }`,
      ),
      [{ severity: 'error', path: 'channels.a.draw', wrong: '900 A', right }],
    );
    expectFindings(propText(`a: ${servo(9, { draw })}`), [
      { severity: 'warning', wrong: 'A is far more than props draw', right },
    ]);
    expectFindings(
      propText(
        'e: { kind: rgb, output: { board: head, pins: [5, 6, 13] }, draw: »{ fullA: [20, 20, 20] } }',
      ),
      [{ severity: 'warning', wrong: 'A is far more than props draw', right: '0.02, 0.02, 0.02' }],
    );
    expectFindings(propText(`r: ${relay(17, { draw: '»{ onA: 450 }' })}`), [
      { severity: 'warning', wrong: 'A is far more than props draw', right: 'onA: 0.45' },
    ]);
    expectFindings(propText(`a: ${servo(9)}`, 'rails: { r: { volts: 6, limitA: »5000 } }'), [
      { severity: 'warning', wrong: '5000 A', right: 'limitA: 5' },
    ]);
  });
  test('angle and pulse that are the wrong way round', () => {
    expectFindings(propText(`a: ${servo(9, { calibration: '»[[-45, 1000], [45, 2000]]' })}`), [
      {
        wrong: 'angle and pulse are the wrong way round',
        right: /\[\[1000, -45\], \[2000, 45\]\]/,
      },
    ]);
  });
});

describe('a channel in the part of a step for another kind', () => {
  const channels = `r: ${relay(17)}\n  s: ${servo(9)}\n  l: ${LAMP}\n  e: { kind: rgb, output: { board: head, pins: [5, 6, 13] } }`;
  test.each([
    ['move: { »r: on }', 'r is a relay, which is switched', 'write switch: { r: on }'],
    ['move: { »l: 0.5 }', 'l is a lamp, which is dimmed', 'write dim: { l: 0.5 }'],
    ['move: { »e: "#ff0000" }', 'e is an rgb', 'write colour: { e: "#ff0000" }'],
    ['switch: { »l: 0.5 }', 'l is a lamp', 'write dim: { l: 0.5 }'],
    ['switch: { »s: 12 }', 's is a servo, which is moved', 'write move: { s: 12 }'],
    ['colour: { »l: 0.5 }', 'l is a lamp', 'write dim: { l: 0.5 }'],
    ['dim: { »r: on }', 'r is a relay', 'write switch: { r: on }'],
  ])('%s', (act, wrong, right) => {
    expectFindings(propText(channels, `cues: { w: [{ at: 0, ${act} }] }`), [{ wrong, right }]);
    expectFindings(propText(channels, `cues: { w: { steps: [{ at: 0, ${act} }] } }`), [
      { wrong, right },
    ]);
  });
});

test('one tab is one finding', () => {
  const lamp = 'kind: lamp\n\toutput: { board: head, pin: 12 }\n    fadeS: 1\n    park: { to: 0 }';
  expectFindings(propText(`lan:\n    ${lamp.replace('\t', '»\t')}`), [
    { wrong: 'a tab in the indentation', right: 'indent with spaces' },
  ]);
  expectFindings(propText('lan:\n»\tkind: lamp\n\toutput: { board: head, pin: 12 }\n\tfadeS: 1'), [
    { wrong: 'here, and on 2 more lines' },
  ]);
});
